//! The page that goes with a packed dance, for whoever opens the archive by hand.

use super::{cautions, rights};
use crate::dance::Dance;
use crate::words::wrapped;

/// What a colleague should know before she uses a dance that was packed for her: plain text, 78 columns, `\r\n` at the
/// ends of lines because some editors still show nothing else.
///
/// `recording` is the sound file's name if it goes along.
#[must_use]
pub fn covering_note(dance: &Dance, file: &str, recording: Option<&str>) -> String {
    let mut parts = vec![dance.title.clone()];
    let title = dance.recording.title.as_deref();
    let credits: Vec<&str> = [title, dance.recording.performer.as_deref()].into_iter().flatten().collect();
    if !credits.is_empty() {
        parts.push(format!("The recording: {}.", credits.join(", ")));
    }
    parts.push(match recording {
        Some(sound) => format!(
            "In here: '{file}', the dance, and '{sound}', its recording. Keep both in one folder, then: farandole lead '{file}'"
        ),
        None => format!(
            "In here: '{file}', the dance, without its recording. Put the same recording beside it, under any name, \
             then: farandole lead '{file}'. With another performance of the piece the counts do not fit."
        ),
    });
    parts.push(
        "Before anyone moves: look through the dance with the children you have in mind (farandole check), and set the \
         age and the distance to the screen for your own room."
            .into(),
    );
    parts.extend(cautions::GENERAL.iter().map(|&caution| caution.to_owned()));
    for entry in cautions::moves_used(dance) {
        if let Some(caution) = &entry.caution {
            parts.push(format!("{}: {caution}", entry.words));
        }
    }
    parts.extend(rights::note(dance.recording.year));
    parts.iter().map(|part| folded(part) + "\r\n").collect::<Vec<_>>().join("\r\n")
}

/// One paragraph in lines of at most 78 columns; words are never cut.
fn folded(text: &str) -> String {
    wrapped(text, 78).join("\r\n")
}
