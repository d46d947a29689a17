"""The trade's words: what columns and kinds of event are called, field by field, as values.

Used by the mapping proposer only. General words of bookkeeping, shops, payments, fulfilment and banking (common
practice; English first, then German, French, Spanish and Dutch), never the layout of one product's export. Words are
lower case, without accents, with single blanks; within a field the most telling phrase comes first.
"""

from __future__ import annotations

import re
import unicodedata


def fold_name(name: str) -> tuple[str, ...]:
    """A column's name as its words: "Order_ID (USD)" and "orderId" both begin with ("order", "id")."""
    spaced = re.sub(r"(?<=[a-z0-9])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z])", " ", name)
    plain = unicodedata.normalize("NFKD", spaced.replace("ß", "ss")).encode("ascii", "ignore").decode()
    return tuple(re.findall(r"[a-z0-9]+", plain.lower()))


def _phrases(text: str) -> tuple[str, ...]:
    return tuple(phrase.strip() for phrase in text.split(","))


#: Words that say nothing about what a column holds.
FILLERS = frozenset({"the", "of", "in", "at", "on", "local", "utc", "gmt", "cents", "minor", "your", "our", "total"})

#: Words for any number or id: they name a field only where they stand alone.
GENERIC = frozenset({"id", "uid", "number", "no", "nr", "nummer", "ref", "reference", "what", "in", "out", "name"})
#: What else has ids and numbers: a column named after one of these identifies neither an order nor an event.
OTHER_THINGS = frozenset(
    _phrases(
        "customer, user, client, buyer, member, account, product, variant, item, listing, line, store, location, "
        "vendor, "
        "supplier, tracking, device, session, card, parcel, carrier, kunde, kunden, kundennummer, artikel"
    )
)

_SHIP_COUNTRY = _phrases(
    "ship country, shipping country, ship to country, shipping country code, ship country code, destination country, "
    "delivery country, destination, recipient country, country code, country, lieferland, land, pays de "
    "livraison, pays"
)
_SHIP_REGION = _phrases(
    "ship region, shipping region, ship state, shipping state, ship to state, shipping province, destination state, "
    "destination region, delivery state, state code, state, province, region, bundesland"
)
_SHIPPED_AT = _phrases(
    "shipped at, shipped on, ship date, date shipped, shipped, fulfilled at, dispatch date, dispatched at, "
    "dispatched on, dispatched, shipment date, versanddatum, versandt am, date d expedition, sent, sent at, "
    "sent on, left on, handed over"
)
_SKU = _phrases(
    "sku, variant sku, item sku, line sku, product sku, product code, item code, variant code, stock code, article "
    "number, artikelnummer, artikel nr, variant, reference article, product id, code"
)
_CATEGORY = _phrases(
    "category, product type, product category, item type, item category, merchandise type, merchandise, kategorie, "
    "warengruppe, categorie, product group, range, group, department"
)
_QUANTITY = _phrases(
    "quantity, qty, item quantity, line quantity, pieces, units, pcs, menge, anzahl, stuck, quantite, qte, "
    "cantidad, count, number of pieces, number of items"
)
_TAX = _phrases(
    "tax, sales tax, tax amount, total tax, tax total, taxes, order tax, tax charged, vat, gst, mwst, ust, "
    "umsatzsteuer, steuer, tva, iva, btw, duty, duties"
)

_CURRENCY = _phrases(
    "currency, currency code, order currency, account currency, balance currency, settlement currency, ccy, cur, "
    "wahrung, waehrung, devise, moneda, valuta"
)

ORDERS: dict[str, tuple[str, ...]] = {
    "order_id": _phrases(
        "order id, order number, order no, order nr, order num, order name, order reference, order ref, order code, "
        "sales order, sale id, sale number, order, invoice id, invoice number, invoice no, invoice, receipt number, "
        "bestellnummer, bestell nr, auftragsnummer, auftrag, numero de commande, no de commande, commande, "
        "numero de pedido, pedido, ordernummer, document number, id, number, no, nummer, reference, ref"
    ),
    "placed_at": _phrases(
        "placed at, placed on, order date, order placed, ordered at, ordered on, date ordered, date placed, "
        "order time, order created, created at, created on, date created, created, purchase date, purchased at, "
        "purchased on, sale date, sold on, sold at, invoice date, paid at, bestelldatum, auftragsdatum, "
        "date de commande, fecha del pedido, placed, ordered, date, datum, fecha, timestamp, day"
    ),
    "cancelled_at": _phrases(
        "cancelled at, canceled at, cancelled on, canceled on, cancellation date, date cancelled, cancelled, "
        "canceled, "
        "storniert am, date d annulation, called off"
    ),
    "shipped_at": _SHIPPED_AT,
    "currency": _CURRENCY,
    "sku": _SKU,
    "item": _phrases(
        "item, item name, item title, product name, product title, product, line item, line item name, title, "
        "item description, line description, description, article, artikel, bezeichnung, produit, articulo"
    ),
    "category": _CATEGORY,
    "quantity": _QUANTITY,
    "unit_price": _phrases(
        "unit price, price each, item price, price per unit, price per piece, unit amount, list price, each, price, "
        "einzelpreis, stuckpreis, preis, prix unitaire, prix, precio unitario, precio, unit"
    ),
    "line_discount": _phrases("line discount, item discount, product discount, line rebate, positionsrabatt"),
    "order_discount": _phrases(
        "order discount, discount total, total discount, cart discount, coupon amount, coupon discount, "
        "discount amount, discount, discounts, coupon, voucher, rabatt, nachlass, remise, descuento, korting"
    ),
    "shipping_charged": _phrases(
        "shipping charged, shipping paid, shipping amount, shipping price, shipping total, shipping, shipping "
        "charge, "
        "shipping cost, shipping fee, delivery charge, delivery, delivery fee, postage, freight, versandkosten, "
        "versand, frais de port, livraison, gastos de envio, envio, verzendkosten"
    ),
    "tax": _TAX,
    "gift_card_paid": _phrases(
        "gift card paid, paid by gift card, paid by voucher, voucher paid, gift card amount, gift card, gift card "
        "used, gift card value, "
        "store credit used, gutschein, carte cadeau"
    ),
    "tip": _phrases("tip, tips, tip amount, gratuity, trinkgeld, pourboire, propina"),
    "total": _phrases(
        "total, order total, grand total, total price, total amount, total paid, order amount, order value, "
        "amount paid, amount charged, invoice total, total due, amount due, amount, gesamtbetrag, gesamt, "
        "gesamtsumme, summe, rechnungsbetrag, montant total, total ttc, importe total, totaal, value, to pay, "
        "amount to pay, payable, due"
    ),
    "ship_country": _SHIP_COUNTRY,
    "ship_region": _SHIP_REGION,
    "tax_jurisdiction": _phrases(
        "tax jurisdiction, jurisdiction, tax authority, taxing authority, tax area, tax region"
    ),
    "tax_collected_by": _phrases(
        "tax collected by, tax remitted by, tax collector, tax remitter, collected by, remitted by, tax sent on "
        "by, tax paid by"
    ),
    "prices_include_tax": _phrases(
        "prices include tax, price includes tax, tax is, tax mode, tax included, taxes included, tax inclusive, "
        "incl tax"
    ),
    "payment_ref": _phrases(
        "payment ref, payment reference, payment id, payment transaction, payment transaction id, charge id, "
        "transaction id, transaction reference, zahlungsreferenz, payment key, payment no"
    ),
    "channel": _phrases(
        "channel, sales channel, order channel, order source, source, marketplace, storefront, vertriebskanal, "
        "kanal, sold through, sold via, sold on"
    ),
    "refunded_items": _phrases("refunded items, items refunded, refunded products, refund items"),
    "refunded_shipping": _phrases("refunded shipping, shipping refunded, refund shipping"),
    "refunded_tip": _phrases("refunded tip, tip refunded, refund tip"),
    "refunded_tax": _phrases("refunded tax, tax refunded, refund tax"),
    "refunded_to_gift_card": _phrases("refunded to gift card, refund to gift card, gift card refund"),
}

_KIND = _phrases(
    "kind, type, transaction type, event type, entry type, activity type, movement type, record type, event, "
    "transaction kind, movement, activity, operation, action, entry, category, typ, vorgang, vorgangsart, art, "
    "transaktionstyp, type de transaction, type d operation, tipo, soort, what"
)
_EVENT_ID = _phrases(
    "event id, transaction id, txn id, entry id, activity id, movement id, record id, operation id, balance entry, "
    "transaction number, transaction no, transaction ref, transaction reference, transaction, ledger id, line id, "
    "transaktionsnummer, transaktions id, vorgangsnummer, numero de transaction, id transaction, id, uid, "
    "reference number, reference, ref, number, no, nr, nummer"
)
_AT = _phrases(
    "at, occurred at, transaction date, event date, date and time, date time, datetime, timestamp, created at, "
    "created on, created, booked at, booked on, booking date, posted at, posted on, posted, processed at, "
    "processed on, completed at, entry date, activity date, charged on, date, datum, buchungsdatum, fecha, "
    "day, when, "
    "time, zeitpunkt"
)
_ORDER_REF = _phrases(
    "order ref, order reference, order id, order number, order no, order nr, shop order, store order, store "
    "order id, "
    "external order id, external order, external id, merchant reference, merchant ref, shop ref, merchant "
    "order, client reference, "
    "customer reference, sales order, your order, your reference, shop reference, order, invoice number, invoice id, "
    "invoice, bestellnummer, bestell nr, auftragsnummer, bestellung, auftrag, numero de commande, commande, pedido, "
    "reference, ref"
)
_MEMO = _phrases(
    "memo, description, note, notes, details, comment, comments, remarks, text, narrative, beschreibung, "
    "bemerkung, notiz, libelle, concepto, omschrijving"
)

PROCESSOR: dict[str, tuple[str, ...]] = {
    "event_id": _EVENT_ID,
    "kind": _KIND,
    "at": _AT,
    "available_on": _phrases(
        "available on, available at, available, funds available, available date, settlement date, value date, "
        "valuta, verfugbar am, free on, payable on"
    ),
    "order_ref": _ORDER_REF,
    "payment_ref": _phrases(
        "payment ref, payment reference, payment id, payment number, payment intent, payment, charge id, charge, "
        "original transaction, parent transaction, "
        "related transaction, original payment, related payment, source id, linked payment, zahlungs id, "
        "zahlungsreferenz, id de paiement"
    ),
    "currency": _CURRENCY,
    "gross": _phrases(
        "gross, gross amount, amount gross, amount, transaction amount, total amount, payment amount, total, value, "
        "brutto, bruttobetrag, betrag, montant brut, brut, montant, importe bruto, importe, bedrag, sum"
    ),
    "fee": _phrases(
        "fee, fees, fee amount, processing fee, transaction fee, total fee, fees total, charges, commission, cost, "
        "gebuhr, gebuhren, gebuehr, gebuehren, entgelt, frais, comision, kosten"
    ),
    "net": _phrases(
        "net, net amount, amount net, net total, settled amount, settlement amount, payout amount, proceeds, netto, "
        "nettobetrag, montant net, importe neto, neto"
    ),
    "charged_currency": _phrases(
        "charged currency, paid in, customer currency, presentment currency, original currency, buyer currency, "
        "payment currency, transaction currency"
    ),
    "charged_amount": _phrases(
        "charged amount, paid amount, customer amount, presentment amount, original amount, amount charged, "
        "buyer amount, amount in customer currency"
    ),
    "payout_id": _phrases(
        "payout id, payout reference, payout ref, payout, transfer id, transfer, batch id, batch, settlement id, "
        "deposit id, disbursement id, disbursement, settlement, auszahlung, versement, virement, paid out with, "
        "paid out in, payout no"
    ),
    "memo": _MEMO,
}

WALLET: dict[str, tuple[str, ...]] = {
    "event_id": _EVENT_ID,
    "kind": _KIND,
    "at": _AT,
    "order_ref": _ORDER_REF,
    "reason": _phrases(
        "reason, charge reason, purpose, subtype, sub type, charge type, order type, grund, zweck, motif, motivo"
    ),
    "sku": (*_SKU, "article", "product", "item"),
    "category": _CATEGORY,
    "quantity": _QUANTITY,
    "production": _phrases(
        "production, production cost, production price, item cost, items cost, product cost, products, items, "
        "print cost, printing, manufacturing, making, base cost, base price, fulfilment cost, fulfillment cost, "
        "product price, item price, subtotal, herstellung, produktion, produktionskosten, fabrication, made, "
        "making cost"
    ),
    "shipping": _phrases(
        "shipping, shipping cost, shipping price, shipping amount, shipping charge, shipping fee, postage, delivery, "
        "delivery cost, freight, versand, versandkosten, livraison, frais de port, envio, verzending, posting"
    ),
    "discount": _phrases(
        "discount, discount amount, volume discount, discounts, rebate, rabatt, remise, descuento, reduction"
    ),
    "tax": _TAX,
    "total": _phrases(
        "total, total cost, total charged, total amount, grand total, amount, amount charged, charged, cost, value, "
        "gesamt, gesamtbetrag, summe, betrag, montant total, montant, importe, bedrag, sum, sum total, to pay"
    ),
    "currency": _CURRENCY,
    "ship_country": _SHIP_COUNTRY,
    "ship_region": _SHIP_REGION,
    "shipped_at": _SHIPPED_AT,
    "memo": _MEMO,
}

BANK: dict[str, tuple[str, ...]] = {
    "event_id": _phrases(
        "event id, transaction id, bank reference, transaction reference, transaction number, entry reference, "
        "reference number, line id, id, umsatz id"
    ),
    "at": _phrases(
        "booking date, booked on, posting date, posted on, posted date, posted, transaction date, entry date, date, "
        "buchungstag, buchungsdatum, datum, date d operation, date operation, date comptable, fecha, boekdatum, "
        "value date, valuta, valutadatum, day"
    ),
    "amount": _phrases(
        "amount, transaction amount, signed amount, amount signed, net amount, value, betrag, umsatz, montant, "
        "importe, bedrag, sum"
    ),
    "currency": _CURRENCY,
    "memo": _phrases(
        "memo, description, narrative, transaction details, particulars, details, text, verwendungszweck, "
        "buchungstext, libelle, concepto, omschrijving, communication, remittance information, transaction, "
        "reference, "
        "note"
    ),
    "counterparty": _phrases(
        "counterparty, payee, payer, beneficiary, other party, party, paid to or from, counter party, recipient, "
        "auftraggeber, empfanger, begunstigter, zahlungspartner, contrepartie, beneficiaire, tegenpartij, name"
    ),
    "balance": _phrases(
        "balance, running balance, balance after, account balance, closing balance, saldo, kontostand, solde"
    ),
}

COLUMN_WORDS: dict[str, dict[str, tuple[str, ...]]] = {
    "orders": ORDERS,
    "processor": PROCESSOR,
    "wallet": WALLET,
    "bank": BANK,
}

#: Columns that hold money in and money out as two amounts.
MONEY_IN = _phrases(
    "paid in, money in, amount in, in, deposit, deposits, credit, credits, credit amount, receipts, received, haben, "
    "gutschrift, einnahmen, eingang, ingreso, abono, bij"
)
MONEY_OUT = _phrases(
    "paid out, money out, amount out, out, withdrawal, withdrawals, debit, debits, debit amount, payments, spent, "
    "soll, lastschrift, belastung, ausgaben, ausgang, cargo, af"
)
#: Totals of a line of an order: not fields, but proof of what the unit price is.
LINE_TOTAL = _phrases(
    "line total, line amount, line value, line price, item total, extended price, row total, positionsbetrag, "
    "zeilensumme, "
    "total ligne"
)
#: A column that says "debit" or "credit" beside an amount without a sign.
DIRECTION = _phrases("direction, debit credit, credit debit, dr cr, cr dr, d c, s h, soll haben, sens, sign")
TIME_OF_DAY = _phrases("time, hour, clock, time of day, uhrzeit, zeit, heure, hora, tijd")
ZONE = _phrases("time zone, timezone, zone, tz, zeitzone, fuseau horaire")
STATUS = _phrases("status, state, payment status, transaction status, order status, zustand, statut, estado")

#: Names that mark a column as personal: whole phrases, and single words that are enough anywhere in the name.
PERSONAL_PHRASES = _phrases(
    "customer, customer name, buyer, buyer name, recipient, recipient name, full name, first name, last name, "
    "surname, "
    "billing name, shipping name, ship to name, ship to, card holder, cardholder, contact, address, ship address, "
    "delivery address, kunde, kundenname, empfanger, vorname, nachname, nom, prenom, client, "
    "nom du client, nombre, cliente, naam"
)
PERSONAL_WORDS = frozenset(
    _phrases(
        "email, mail, phone, telephone, mobile, fax, street, address, address1, address2, addr, strasse, telefon, "
        "adresse, rue, zip, zipcode, postcode, postal, plz, city, town, ort, stadt, ville, birthday, birth, dob, ip, "
        "iban, bic, passport, ssn, firstname, lastname, surname, cardholder, username, nickname, correo, telefono, "
        "calle, ciudad, handy"
    )
)
PERSONAL_NAME_OF = frozenset(
    _phrases("customer, buyer, recipient, billing, shipping, ship, contact, cardholder, client, kunde")
)
