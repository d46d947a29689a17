"""What each event posts: rules as values, the facts that they read, and the compiler that turns them into postings."""
