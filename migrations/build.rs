//! Prepares what the compiler checks the SQL against.

fn main() {}
