//! Why a recording could not be read, sorted by who can put it right.

use thiserror::Error;

/// Why a file did not become a recording. Every sentence names the file, the reason and the way out;
/// file names and what files say of themselves have had control characters removed.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum DecodeError {
    /// There is no such file: the teacher can correct the name or the folder.
    #[error("cannot find '{file}'; check the name and the folder")]
    Missing {
        /// The path as it was given.
        file: String,
    },
    /// A folder was given: the teacher can name the recording inside it.
    #[error("cannot read '{file}': it is a folder; give a recording inside it")]
    Directory {
        /// The path as it was given.
        file: String,
    },
    /// The account may not open the file: the teacher, or whoever looks after the computer, can allow it.
    #[error(
        "cannot read '{file}': this account may not open it; copy it to your own folder or ask its owner"
    )]
    NoPermission {
        /// The path as it was given.
        file: String,
    },
    /// The disk, drive or network gave an error: copying the file to the computer usually helps.
    #[error("cannot read '{file}': the drive gave an error; copy the file to this computer and try again")]
    Io {
        /// The file's name.
        file: String,
        /// What the system said.
        source: std::io::Error,
    },
    /// The file has no bytes at all: a copy or download that failed; fetch it again.
    #[error("cannot read '{file}': the file is empty (0 bytes); copy or download it again")]
    Empty {
        /// The file's name.
        file: String,
    },
    /// Nothing in the file looks like sound we know: the teacher picked another kind of file.
    #[error(
        "cannot read '{file}': it is not a recording; give a WAV, FLAC, MP3, Ogg Vorbis, M4A or AIFF file"
    )]
    NotAudio {
        /// The file's name.
        file: String,
    },
    /// Sound in a format or codec that is not decoded here: the teacher can convert it.
    #[error(
        "cannot read '{file}': it is {format}, which this program cannot decode; convert it to FLAC or WAV"
    )]
    UnsupportedFormat {
        /// The file's name.
        file: String,
        /// The format or codec in words.
        format: String,
    },
    /// A container with pictures or text and no sound: the teacher can pick another file.
    #[error("cannot read '{file}': there is no sound in it; give a recording")]
    NoAudioTrack {
        /// The file's name.
        file: String,
    },
    /// The sound is encrypted by its seller: only an unprotected copy will do.
    #[error(
        "cannot read '{file}': it is locked by copy protection; get it as a CD or as a download without protection"
    )]
    Protected {
        /// The file's name.
        file: String,
    },
    /// The file stops before its first sound: fetch it again.
    #[error("cannot read '{file}': the file stops before any sound; copy or download it again")]
    CutShort {
        /// The file's name.
        file: String,
    },
    /// The container is known but its header makes no sense: export or fetch it again.
    #[error("cannot read '{file}': its header is damaged; export or download it again")]
    DamagedHeader {
        /// The file's name.
        file: String,
    },
    /// More of the sound is damaged than whole, so beats found in it would be guesses: fetch it again.
    #[error("cannot read '{file}': {damaged} of its {packets} pieces are damaged; copy or download it again")]
    Damaged {
        /// The file's name.
        file: String,
        /// Packets that could not be decoded.
        damaged: u32,
        /// All packets seen.
        packets: u32,
    },
    /// The file is whole but holds no frames: an export that failed; export it again.
    #[error("cannot read '{file}': it has a header but no sound (0 frames); export it again")]
    NoFrames {
        /// The file's name.
        file: String,
    },
    /// Longer than [`MAX_MINUTES`](super::MAX_MINUTES): the teacher can cut it into shorter recordings.
    #[error(
        "cannot read '{file}': it lasts more than {} minutes; cut it into shorter recordings",
        super::MAX_MINUTES
    )]
    TooLong {
        /// The file's name.
        file: String,
    },
    /// Within the length limit, but more samples than an ordinary computer's memory takes
    /// ([`MAX_SAMPLES`](super::MAX_SAMPLES)): the teacher can export fewer channels or a lower rate.
    #[error(
        "cannot read '{file}': {channels} channels at {rate} Hz need too much memory at this length; export it in stereo at 48000 Hz"
    )]
    TooLarge {
        /// The file's name.
        file: String,
        /// Channels in a frame.
        channels: usize,
        /// Frames a second.
        rate: u32,
    },
    /// A sample rate outside 8 to 192 kHz, 0 included: a header that is wrong or a file that is not music.
    #[error(
        "cannot read '{file}': its sample rate is {rate} Hz and only {} to {} Hz can be played; export it at 48000 Hz",
        super::RATES.start(), super::RATES.end()
    )]
    BadRate {
        /// The file's name.
        file: String,
        /// The stated rate.
        rate: u32,
    },
    /// No channels, or more than any music has: a header that is wrong.
    #[error(
        "cannot read '{file}': its header says {channels} channels and only 1 to {} can be played; export it in stereo",
        super::MAX_CHANNELS
    )]
    BadChannels {
        /// The file's name.
        file: String,
        /// The stated number of channels.
        channels: usize,
    },
}
