//! Runs the program.
fn main() {}
