//! Title and performer, as each container keeps them, and made safe for a terminal.

use super::encode::Studio;
use super::{decoded, lively};
use farandole::recording::Tags;

fn tags(title: &str, performer: &str) -> Tags {
    Tags { title: Some(title.to_owned()), performer: Some(performer.to_owned()) }
}

#[test]
fn every_container_s_title_and_performer_are_read() {
    let studio = Studio::new();
    let source = studio.wav("source.wav", &lively(0.5, 2, 44_100), 2, 44_100);
    let words = ["-metadata", "title=Marche des rois", "-metadata", "artist=The Village Band"];
    for (name, options) in [
        ("a.mp3", &["-id3v2_version", "3"][..]),
        ("a.mp3", &["-id3v2_version", "4", "-write_id3v1", "1"]),
        ("a.flac", &[]),
        ("a.ogg", &[]),
        ("a.m4a", &["-c:a", "aac"]),
        ("a.m4a", &["-c:a", "alac"]),
        ("a.aiff", &["-write_id3v2", "1"]),
    ] {
        let file = studio.ffmpeg(&source, &[&words[..], options].concat(), name);
        assert_eq!(decoded(&file).tags, tags("Marche des rois", "The Village Band"), "{name} {options:?}");
    }
}

#[test]
fn the_full_tag_outranks_the_short_one_at_the_end() {
    let studio = Studio::new();
    let source = studio.wav("source.wav", &lively(0.5, 2, 44_100), 2, 44_100);
    let title = "A title that does not fit into thirty characters";
    let options = ["-metadata", &format!("title={title}"), "-write_id3v1", "1"];
    let recording = decoded(&studio.ffmpeg(&source, &options, "a.mp3"));
    assert_eq!(recording.tags.title.as_deref(), Some(title));
    assert_eq!(recording.warnings, []);
}

#[test]
fn tags_cannot_speak_to_the_terminal() {
    let studio = Studio::new();
    let source = studio.wav("source.wav", &lively(0.5, 1, 44_100), 1, 44_100);
    let title = format!("title=\u{1b}[2J\u{1b}]0;gone\u{7} March\n\tof {}", "kings ".repeat(100));
    let options = ["-metadata", &title, "-metadata", "artist=\u{202e}\u{1b}[31m \n"];
    let tags = decoded(&studio.ffmpeg(&source, &options, "a.flac")).tags;
    let title = tags.title.unwrap();
    assert!(title.starts_with("March of kings kings") && title.chars().count() <= 120, "{title:?}");
    assert_eq!(tags.performer, None);
}

#[test]
fn no_tags_are_no_words() {
    let studio = Studio::new();
    assert_eq!(decoded(&studio.wav("plain.wav", &[0.0; 100], 1, 44_100)).tags, Tags::default());
}
