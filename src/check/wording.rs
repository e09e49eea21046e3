//! Numbers in sentences: one place for plurals and rounding.

use crate::units::{Counts, Seconds};

/// `1 thing`, `2 things`.
pub(super) fn number(n: usize, thing: &str) -> String {
    if n == 1 { format!("1 {thing}") } else { format!("{n} {thing}s") }
}

/// `1 count`, `2 counts`, `2.5 counts`; at most two decimals.
pub(crate) fn counts(span: Counts) -> String {
    let rounded = (span.0 * 100.0).round() / 100.0;
    if rounded == 1.0 { "1 count".into() } else { format!("{} counts", rounded + 0.0) }
}

/// `2.0 s`.
pub(super) fn seconds(span: Seconds) -> String {
    format!("{:.1} s", span.0)
}

/// `a, b and c`.
pub(super) fn list(items: &[String]) -> String {
    match items {
        [] => String::new(),
        [one] => one.clone(),
        [rest @ .., last] => format!("{} and {last}", rest.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_is_singular() {
        assert_eq!(number(1, "turn"), "1 turn");
        assert_eq!(number(0, "turn"), "0 turns");
        assert_eq!(counts(Counts(1.0)), "1 count");
        assert_eq!(counts(Counts(2.504)), "2.5 counts");
        assert_eq!(counts(Counts(-0.001)), "0 counts");
        assert_eq!(list(&["a".into(), "b".into(), "c".into()]), "a, b and c");
    }
}
