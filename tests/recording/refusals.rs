//! What cannot be read, each with its whole sentence.

use super::encode::{Studio, wav_bytes};
use super::{decode, decode_bytes, lively};
use farandole::recording::DecodeError;
use std::path::Path;

/// The sentence with which `path` is refused.
fn refusal(path: &Path) -> String {
    match decode(path) {
        Ok(recording) => panic!("{path:?} was decoded to {} frames", recording.frames().0),
        Err(error) => error.to_string(),
    }
}

fn refusal_of_bytes(bytes: Vec<u8>, name: &str) -> String {
    match decode_bytes(bytes, name) {
        Ok(recording) => panic!("{name} was decoded to {} frames", recording.frames().0),
        Err(error) => error.to_string(),
    }
}

#[test]
fn a_missing_file() {
    assert_eq!(
        refusal(Path::new("no such folder/parade.mp3")),
        "cannot find 'no such folder/parade.mp3'; check the name and the folder"
    );
}

#[test]
fn a_folder() {
    assert_eq!(
        refusal(Path::new("tests")),
        "cannot read 'tests': it is a folder; give a recording inside it"
    );
}

#[test]
fn an_empty_file() {
    assert_eq!(
        refusal(&Studio::new().write("parade.mp3", b"")),
        "cannot read 'parade.mp3': the file is empty (0 bytes); copy or download it again"
    );
}

#[test]
fn text_under_a_recording_s_name() {
    let not_audio = "cannot read 'parade.mp3': it is not a recording; give a WAV, FLAC, MP3, Ogg Vorbis, M4A or AIFF file";
    let letter = "Dear class, tomorrow we shall dance a farandole.\n";
    assert_eq!(refusal(&Studio::new().write("parade.mp3", letter.repeat(200))), not_audio);
    assert_eq!(refusal_of_bytes(b"x".to_vec(), "parade.mp3"), not_audio);
    let wide: Vec<u8> = letter.encode_utf16().flat_map(u16::to_le_bytes).collect();
    assert_eq!(refusal_of_bytes([&[0xff, 0xfe], &wide[..]].concat(), "parade.mp3"), not_audio);
}

#[test]
fn a_name_cannot_speak_to_the_terminal() {
    assert_eq!(
        refusal_of_bytes(b"x".to_vec(), "\u{1b}[31mparade\n.mp3"),
        "cannot read 'parade .mp3': it is not a recording; give a WAV, FLAC, MP3, Ogg Vorbis, M4A or AIFF file"
    );
}

#[cfg(unix)]
#[test]
fn a_device_is_not_waited_for() {
    assert_eq!(
        refusal(Path::new("/dev/zero")),
        "cannot read '/dev/zero': it is not a recording; give a WAV, FLAC, MP3, Ogg Vorbis, M4A or AIFF file"
    );
}

#[test]
fn formats_that_are_not_decoded_are_named() {
    let studio = Studio::new();
    let source = studio.wav("source.wav", &lively(1.0, 2, 48_000), 2, 48_000);
    let surround = studio.wav("surround.wav", &lively(1.0, 6, 48_000), 6, 48_000);
    for (name, options, format) in [
        ("a.opus", &["-c:a", "libopus"][..], "Opus"),
        ("a.ogg", &["-c:a", "libopus"], "Opus"),
        ("a.mp4", &["-c:a", "libopus"], "Opus"),
        ("a.mp2", &["-c:a", "mp2"], "MPEG layer 2"),
        ("a.mp4", &["-c:a", "ac3"], "AC-3, a film sound format"),
        ("a.mka", &["-c:a", "libvorbis"], "Matroska or WebM"),
        ("a.wma", &["-c:a", "wmav2"], "Windows Media"),
        ("a.caf", &["-c:a", "pcm_s16be"], "Core Audio Format"),
        ("a.wv", &["-c:a", "wavpack"], "WavPack"),
    ] {
        assert_eq!(
            refusal(&studio.ffmpeg(&source, options, name)),
            format!(
                "cannot read '{name}': it is {format}, which this program cannot decode; convert it to FLAC or WAV"
            )
        );
    }
    assert_eq!(
        refusal(&studio.ffmpeg(&surround, &["-c:a", "aac"], "a.m4a")),
        "cannot read 'a.m4a': it is AAC with surround sound or of the HE kind, which this program cannot decode; convert it to FLAC or WAV"
    );
    assert_eq!(
        refusal_of_bytes(b"MThd\0\0\0\x06\0\0\0\x01\0\x60".to_vec(), "tune.mid"),
        "cannot read 'tune.mid': it is a MIDI file (notes without sound), which this program cannot decode; convert it to FLAC or WAV"
    );
}

#[test]
fn a_film_without_sound() {
    let studio = Studio::new();
    let source = studio.wav("source.wav", &lively(1.0, 2, 48_000), 2, 48_000);
    let picture =
        ["-filter_complex", "color=size=32x32:rate=5:duration=1[v]", "-map", "[v]", "-c:v", "mpeg4"];
    assert_eq!(
        refusal(&studio.ffmpeg(&source, &picture, "film.mp4")),
        "cannot read 'film.mp4': there is no sound in it; give a recording"
    );
    let words = studio.write("words.srt", "1\n00:00:00,000 --> 00:00:01,000\nHop\n");
    assert_eq!(
        refusal(&studio.ffmpeg(&words, &["-c:s", "mov_text"], "words.mp4")),
        "cannot read 'words.mp4': there is no sound in it; give a recording"
    );
    // With a sound track beside the picture it is a recording.
    let both = [&picture[..4], &["-map", "0:a", "-c:v", "mpeg4", "-c:a", "aac"]].concat();
    assert_eq!(super::decoded(&studio.ffmpeg(&source, &both, "both.mp4")).frames().0, 48_000);
}

#[test]
fn a_locked_file() {
    let studio = Studio::new();
    let source = studio.wav("source.wav", &lively(1.0, 2, 44_100), 2, 44_100);
    let open = std::fs::read(studio.ffmpeg(&source, &["-c:a", "aac"], "open.m4a")).unwrap();
    for entry in [b"drms", b"enca"] {
        let mut locked = open.clone();
        let at = locked.windows(4).rposition(|four| four == b"mp4a").unwrap();
        locked[at..at + 4].copy_from_slice(entry);
        assert_eq!(
            refusal_of_bytes(locked, "song.m4p"),
            "cannot read 'song.m4p': it is locked by copy protection; get it as a CD or as a download without protection"
        );
    }
    let mut strange = open;
    let at = strange.windows(4).rposition(|four| four == b"mp4a").unwrap();
    strange[at..at + 4].copy_from_slice(b"xyz1");
    assert_eq!(
        refusal_of_bytes(strange, "song.m4a"),
        "cannot read 'song.m4a': it is in the sound format 'xyz1', which this program cannot decode; convert it to FLAC or WAV"
    );
}

#[test]
fn a_file_that_stops_before_its_sound() {
    let studio = Studio::new();
    let source = studio.wav("source.wav", &lively(1.0, 2, 44_100), 2, 44_100);
    let head = |options: &[&str], name: &str, bytes: usize| {
        let file = std::fs::read(studio.ffmpeg(&source, options, name)).unwrap();
        refusal_of_bytes(file[..bytes.min(file.len() / 2)].to_vec(), name)
    };
    let cut = |name: &str| {
        format!("cannot read '{name}': the file stops before any sound; copy or download it again")
    };
    assert_eq!(head(&[], "a.wav", 20), cut("a.wav"));
    assert_eq!(head(&[], "a.wav", 78), cut("a.wav"));
    assert_eq!(head(&[], "a.flac", 60), cut("a.flac"));
    assert_eq!(head(&[], "a.ogg", 200), cut("a.ogg"));
    assert_eq!(head(&[], "a.aiff", 30), cut("a.aiff"));
    // The movie header comes last, so half a file has none.
    assert_eq!(head(&["-c:a", "aac"], "a.m4a", usize::MAX), cut("a.m4a"));
    assert_eq!(head(&["-id3v2_version", "3"], "a.mp3", 30), cut("a.mp3"));
}

#[test]
fn more_damage_than_sound() {
    let studio = Studio::new();
    let source = studio.wav("source.wav", &lively(2.0, 2, 44_100), 2, 44_100);
    let mut bytes =
        std::fs::read(studio.ffmpeg(&source, &["-c:a", "alac", "-movflags", "faststart"], "a.m4a")).unwrap();
    let from = bytes.len() / 4;
    bytes[from..].fill(0xff);
    let error = decode_bytes(bytes, "a.m4a").unwrap_err();
    let DecodeError::Damaged { damaged, packets, .. } = error else { panic!("{error}") };
    assert!(packets == 22 && 2 * damaged > packets, "{damaged} of {packets}");
    assert_eq!(
        error.to_string(),
        format!("cannot read 'a.m4a': {damaged} of its 22 pieces are damaged; copy or download it again")
    );
}

/// A file on a stick that is pulled out after the header.
struct Pulled(std::io::Cursor<Vec<u8>>);

impl std::io::Read for Pulled {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        // 5 is the input/output error of most systems.
        if self.0.position() > 200_000 {
            Err(std::io::Error::from_raw_os_error(5))
        } else {
            self.0.read(buffer)
        }
    }
}

impl std::io::Seek for Pulled {
    fn seek(&mut self, to: std::io::SeekFrom) -> std::io::Result<u64> {
        self.0.seek(to)
    }
}

impl symphonia::core::io::MediaSource for Pulled {
    fn is_seekable(&self) -> bool {
        true
    }

    fn byte_len(&self) -> Option<u64> {
        Some(self.0.get_ref().len() as u64)
    }
}

#[test]
fn a_drive_that_fails() {
    let wav = wav_bytes(&lively(5.0, 2, 44_100), 2, 44_100);
    let source = Box::new(Pulled(std::io::Cursor::new(wav)));
    let error = farandole::recording::decode_from(source, "a.wav", &mut |_| {}).unwrap_err();
    assert_eq!(
        error.to_string(),
        "cannot read 'a.wav': the drive gave an error; copy the file to this computer and try again"
    );
    assert!(std::error::Error::source(&error).is_some());
}

#[test]
fn a_header_without_sound() {
    assert_eq!(
        refusal_of_bytes(wav_bytes(&[], 2, 44_100), "hush.wav"),
        "cannot read 'hush.wav': it has a header but no sound (0 frames); export it again"
    );
}

#[test]
fn absurd_headers() {
    for (rate, channels) in [(0, 2), (7_999, 2), (192_001, 1), (u32::MAX, 2)] {
        assert_eq!(
            refusal_of_bytes(wav_bytes(&[0.0; 64], channels, rate), "a.wav"),
            format!(
                "cannot read 'a.wav': its sample rate is {rate} Hz and only 8000 to 192000 Hz can be played; export it at 48000 Hz"
            )
        );
    }
    for channels in [0, 33, 65_535] {
        assert_eq!(
            refusal_of_bytes(wav_bytes(&[0.0; 64], channels, 44_100), "a.wav"),
            format!(
                "cannot read 'a.wav': its header says {channels} channels and only 1 to 32 can be played; export it in stereo"
            )
        );
    }
    let studio = Studio::new();
    let source = studio.wav("source.wav", &lively(0.2, 1, 44_100), 1, 44_100);
    let slow = studio.ffmpeg(&source, &["-ar", "6000"], "slow.flac");
    assert_eq!(
        refusal(&slow),
        "cannot read 'slow.flac': its sample rate is 6000 Hz and only 8000 to 192000 Hz can be played; export it at 48000 Hz"
    );
    let mut damaged = wav_bytes(&[0.0; 64], 2, 44_100);
    // A format number that nobody uses.
    damaged[20] = 0x77;
    assert_eq!(
        refusal_of_bytes(damaged, "a.wav"),
        "cannot read 'a.wav': its header is damaged; export or download it again"
    );
}

/// A sparse WAV file of 8-bit silence with the given length in its header; `u32::MAX` is what a writer puts that
/// does not know.
fn silent_wav(
    studio: &Studio,
    name: &str,
    (channels, rate): (u16, u32),
    bytes: u64,
    stated: u32,
) -> std::path::PathBuf {
    let mut header = wav_bytes(&[], channels, rate);
    header[4..8].copy_from_slice(&stated.saturating_add(36).to_le_bytes());
    header[20] = 1;
    header[28..32].copy_from_slice(&(rate * u32::from(channels)).to_le_bytes());
    header[32..36].copy_from_slice(&[channels as u8, 0, 8, 0]);
    header[40..44].copy_from_slice(&stated.to_le_bytes());
    let path = studio.write(name, &header);
    let file = std::fs::OpenOptions::new().write(true).open(&path).unwrap();
    file.set_len(header.len() as u64 + bytes).unwrap();
    path
}

#[test]
fn more_than_ninety_minutes() {
    let studio = Studio::new();
    let ninety = 90 * 60 * 8_000;
    let too_long =
        |name| format!("cannot read '{name}': it lasts more than 90 minutes; cut it into shorter recordings");
    let promised = silent_wav(&studio, "long.wav", (1, 8_000), ninety + 1, ninety as u32 + 1);
    assert_eq!(refusal(&promised), too_long("long.wav"));
    let unsaid = silent_wav(&studio, "unsaid.wav", (1, 8_000), ninety + 1, u32::MAX);
    assert_eq!(refusal(&unsaid), too_long("unsaid.wav"));
    let whole = silent_wav(&studio, "whole.wav", (1, 8_000), ninety, ninety as u32);
    assert_eq!(super::decoded(&whole).frames().0, ninety);
}

#[test]
fn more_than_memory_holds() {
    let studio = Studio::new();
    // 46 minutes of stereo at 96 kHz.
    let bytes = 46 * 60 * 96_000 * 2;
    let large = silent_wav(&studio, "large.wav", (2, 96_000), bytes, bytes as u32);
    assert_eq!(
        refusal(&large),
        "cannot read 'large.wav': 2 channels at 96000 Hz need too much memory at this length; export it in stereo at 48000 Hz"
    );
}

#[cfg(unix)]
#[test]
fn a_file_one_may_not_open() {
    use std::os::unix::fs::PermissionsExt;
    let path = Studio::new().path("secret.wav");
    let studio = Studio::new();
    let path = studio.write(path.file_name().unwrap().to_str().unwrap(), wav_bytes(&[0.0; 8], 1, 44_100));
    std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o000)).unwrap();
    let expected = format!(
        "cannot read '{}': this account may not open it; copy it to your own folder or ask its owner",
        path.display()
    );
    match decode(&path) {
        Err(error) => assert_eq!(error.to_string(), expected),
        // The system's own account may open anything, so there the refusal cannot be seen.
        Ok(_) => assert!(std::fs::File::open(&path).is_ok()),
    }
}
