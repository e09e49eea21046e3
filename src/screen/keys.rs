//! One form for the tables of keys: the program obeys them, and key lines, helps and docs show them.

use crossterm::event::KeyCode;

/// One line of a table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Binding<A: 'static> {
    /// The keys, as pressed.
    pub keys: &'static [KeyCode],
    /// The keys, as the help writes them.
    pub name: &'static str,
    /// What they do.
    pub action: A,
    /// What they do, in words; empty for a key that the line before explains.
    pub help: &'static str,
    /// The same in a word or two for the key line; empty for what is not shown there.
    pub short: &'static str,
}

/// A line of a table, for the help and for the key line.
pub(super) const fn line<A: Copy>(
    keys: &'static [KeyCode],
    name: &'static str,
    action: A,
    help: &'static str,
    short: &'static str,
) -> Binding<A> {
    Binding { keys, name, action, help, short }
}
