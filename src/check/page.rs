//! The page of rules in the docs, written from the table so that the two cannot differ.

use super::{Needs, RULES, Severity};
use std::fmt::Write;

/// `docs/rules.md`: every rule with what it asks, why, and where its numbers come from.
#[must_use]
pub fn rules_page() -> String {
    let mut page = String::from(
        "# What the check looks at\n\n\
         This page is written from the table of rules in the program; a test keeps the two in step. A *problem* \
         cannot work as it stands or should not be done for safety; with a *warning* some pupils will be late, lost or \
         uncomfortable; a *note* is worth knowing. Any finding can be silenced in the dance, with a reason. The check \
         gives no medical advice: your school's own rules come first.\n",
    );
    for (severity, title) in
        [(Severity::Problem, "Problems"), (Severity::Warning, "Warnings"), (Severity::Note, "Notes")]
    {
        // Writing to a String cannot fail.
        let _ = write!(page, "\n## {title}\n");
        for rule in RULES.iter().filter(|rule| rule.severity == severity) {
            let needs = match rule.needs {
                Needs::Dance => "the dance",
                Needs::Beats => "the dance's grid",
                Needs::Recording => "the recording",
                Needs::BeatsAndRecording => "the recording and the dance's grid",
            };
            let _ = write!(
                page,
                "\n### {} (`{}`)\n\n{}\n\n{}\n\n- Looks at: {needs}\n- Source: {}\n",
                rule.name, rule.id, rule.asks, rule.why, rule.source
            );
        }
    }
    page
}
