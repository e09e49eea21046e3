//! Dynamics in words.

use crate::listening::Dynamic;

/// A dynamic mark for those who do not read music yet, and the mark.
pub(super) fn dynamic_words(dynamic: Dynamic) -> (&'static str, &'static str) {
    match dynamic {
        Dynamic::Pp => ("very soft", "pp"),
        Dynamic::P => ("soft", "p"),
        Dynamic::Mp => ("rather soft", "mp"),
        Dynamic::Mf => ("rather loud", "mf"),
        Dynamic::F => ("loud", "f"),
        Dynamic::Ff => ("very loud", "ff"),
    }
}
