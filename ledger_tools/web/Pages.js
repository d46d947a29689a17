// What our pages do in the browser, without a framework: forms become addresses or JSON, the newest books are shown.
// Everything is listened for on the document, once, because Fava puts pages in and out of it.

const ASK_EVERY_MS = 3000;
const SHOW_PROGRESS_AFTER_MS = 700;

function books() {
  return document.querySelector(".books");
}

// Go where a link would: Fava loads the page without starting anew.
function go(address) {
  const link = document.createElement("a");
  link.href = address;
  link.hidden = true;
  (document.querySelector("article") ?? document.body).append(link);
  link.click();
  link.remove();
}

function again() {
  go(window.location.href.replace(/#.*/, ""));
}

// One place for what was done, is being done or went wrong; read out by screen readers; it outlives a change of page.
function notice(text, kind = "done") {
  let place = document.getElementById("books-notice");
  if (!place) {
    place = document.createElement("div");
    place.id = "books-notice";
    place.setAttribute("role", "status");
    document.body.append(place);
  }
  place.dataset.kind = kind;
  place.textContent = text;
  if (text && kind !== "working") {
    const close = document.createElement("button");
    close.type = "button";
    close.className = "muted";
    close.textContent = "Close";
    close.addEventListener("click", () => { place.textContent = ""; });
    place.append(close);
  }
}

function problemText(problems) {
  return problems
    .map(({ where, what, next_step }) => `${where}: ${what}.` + (next_step ? `\nWhat to do: ${next_step}.` : ""))
    .join("\n\n");
}

async function ask(address) {
  const answer = await fetch(address, { headers: { accept: "application/json" } });
  return answer.ok ? answer.json() : null;
}

// While something is written, say what the program is doing as soon as it takes more than a moment.
async function whileWorking(work) {
  const now = books()?.dataset.now;
  let done = false;
  const timer = setInterval(async () => {
    const told = now ? await ask(now).catch(() => null) : null;
    if (!done) notice(`Working: ${told?.stage || "one moment"} …`, "working");
  }, SHOW_PROGRESS_AFTER_MS);
  try {
    return await work();
  } finally {
    done = true;
    clearInterval(timer);
    const place = document.getElementById("books-notice");
    if (place?.dataset.kind === "working") notice("");
  }
}

// Send JSON; gives back the answer, or null after saying what is wrong.
export async function send(address, data) {
  try {
    const response = await fetch(address, {
      method: "POST",
      headers: { "content-type": "application/json" },
      body: JSON.stringify(data),
    });
    if (response.status === 401) {
      notice("This view is read-only: nothing was changed.", "problem");
      return null;
    }
    const answer = await response.json();
    if (answer.ok) return answer;
    notice(problemText(answer.problems), "problem");
  } catch (trouble) {
    notice(`The program did not answer (${trouble.message}). Is it still running? Nothing is known of what became of this.`, "problem");
  }
  return null;
}

function fieldsOf(form) {
  return Object.fromEntries(new FormData(form).entries());
}

// A form that asks becomes an address; empty fields are left out of it.
function askByForm(form) {
  const address = new URL(form.action, window.location.href);
  for (const [name, text] of new FormData(form).entries()) {
    if (text) address.searchParams.set(name, text);
    else address.searchParams.delete(name);
  }
  go(address.href);
}

async function writeByForm(form, button) {
  const address = button?.getAttribute("formaction") ?? form.getAttribute("action");
  const buttons = [...form.querySelectorAll("button")].filter((one) => !one.disabled);
  for (const one of buttons) one.disabled = true;
  const answer = await whileWorking(() => send(address, fieldsOf(form)));
  for (const one of buttons) one.disabled = false;
  if (!answer) return;
  const more = answer.stale?.length ? `\n\n${problemText(answer.stale)}` : "";
  if (answer.message + more) notice(answer.message + more, more ? "problem" : "done");
  if (answer.go) go(answer.go);
  else again();
}

// Work that changes no books and takes a while: ask for it, then show what came of it.
async function workByForm(form, quietly = false) {
  const address = new URL(form.action, window.location.href);
  for (const [name, text] of new FormData(form).entries()) address.searchParams.set(name, text);
  const answer = await whileWorking(async () => {
    const response = await fetch(address, { headers: { accept: "application/json" } });
    return response.json().catch(() => null);
  });
  if (!form.isConnected) return;
  if (!answer?.ok) {
    if (quietly && answer) form.querySelector("button").insertAdjacentText("afterend", problemText(answer.problems));
    else notice(answer ? problemText(answer.problems) : "The program could not do this.", "problem");
    return;
  }
  if (answer.message) notice(answer.message);
  go(answer.go);
}

// Dropped files go piece by piece as JSON, so that a large one neither fills memory nor stands still unseen.
const PIECE_BYTES = 3 * 1024 * 1024;

function asBase64(blob) {
  return new Promise((resolve, reject) => {
    const reader = new FileReader();
    reader.onload = () => resolve(reader.result.replace(/^[^,]*,?/, ""));
    reader.onerror = () => reject(reader.error);
    reader.readAsDataURL(blob);
  });
}

async function takeFiles(form, files) {
  if (!files.length) return;
  form.dataset.busy = "yes";
  let upload = "";
  for (const [place, file] of [...files].entries()) {
    for (let start = 0; start === 0 || start < file.size; start += PIECE_BYTES) {
      notice(`Taking ${file.name}, ${place + 1} of ${files.length} …`, "working");
      const piece = await asBase64(file.slice(start, start + PIECE_BYTES)).catch(() => null);
      if (piece === null) {
        notice(`${file.name} can't be read: is it a folder, or open elsewhere?`, "problem");
        delete form.dataset.busy;
        return;
      }
      const answer = await send(form.dataset.piece, { upload, place: String(place), name: file.name, piece });
      if (!answer) {
        delete form.dataset.busy;
        return;
      }
      upload = answer.upload;
    }
  }
  notice("");
  const answer = await whileWorking(() => send(form.dataset.look, { upload }));
  delete form.dataset.busy;
  if (!answer) return;
  notice(answer.message);
  go(answer.go);
}

// Take a candidate over into the form that settles its item.
function choose(button) {
  const form = document.getElementById(button.dataset.form);
  form.closest("details").open = true;
  form.elements.target.value = button.dataset.choose;
  const match = form.querySelector("input[value=match]");
  if (match) match.checked = true;
  form.elements.reason.focus();
}

// A build that was swapped in meanwhile is shown at once, unless the person is in the middle of something.
function isBusy() {
  const busy = document.querySelector(".books details.settle[open], .books [data-busy]");
  return Boolean(busy) || document.activeElement?.matches(".books input, .books textarea, .books select");
}

async function lookForNewBooks() {
  const shown = books();
  if (!shown || document.hidden) return;
  const told = await ask(shown.dataset.now).catch(() => null);
  if (!told || shown !== books() || told.build === shown.dataset.build) return;
  if (isBusy()) notice("The books have changed since this page was made; it shows them as they were.", "news");
  else again();
}

export default {
  init() {
    document.documentElement.lang ||= "en";
    document.addEventListener("submit", (event) => {
      const form = event.target;
      if (form.matches("[data-query]")) {
        event.preventDefault();
        askByForm(form);
      } else if (form.matches("[data-write]")) {
        event.preventDefault();
        writeByForm(form, event.submitter);
      } else if (form.matches("[data-work]")) {
        event.preventDefault();
        workByForm(form);
      } else if (form.matches("[data-drop]")) {
        event.preventDefault();
      }
    });
    document.addEventListener("click", (event) => {
      const button = event.target.closest("[data-choose]");
      if (button) choose(button);
    });
    for (const name of ["dragover", "dragleave", "drop"]) {
      document.addEventListener(name, (event) => {
        const form = event.target.closest?.("[data-drop]");
        if (!form || ![...(event.dataTransfer?.types ?? [])].includes("Files")) return;
        event.preventDefault();
        event.stopPropagation();
        form.classList.toggle("over", name === "dragover");
        if (name === "drop") takeFiles(form, event.dataTransfer.files);
      }, true);
    }
    document.addEventListener("change", (event) => {
      if (event.target.matches("[data-at-once]")) askByForm(event.target.form);
      const form = event.target.closest?.("[data-drop]");
      if (form && event.target.type === "file") takeFiles(form, event.target.files);
    });
    setInterval(lookForNewBooks, ASK_EVERY_MS);
  },
  onPageLoad() {
    const start = document.querySelector("form[data-start]");
    if (start) workByForm(start, true);
    const target = window.location.hash.startsWith("#item-") && document.querySelector(window.location.hash);
    if (target) target.scrollIntoView();
  },
};
