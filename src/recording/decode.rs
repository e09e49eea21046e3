//! From a file to its sound: opens it, decodes it once from end to end, trims it, and says what was amiss.
//!
//! Files are not trusted. Every limit is checked against what a header promises and again as samples come, and a decoder
//! that fails on damage costs a packet, not the program.

use super::container::{self, Container};
use super::error::DecodeError;
use super::mp4::{self, Movie};
use super::run::Run;
use super::store::Store;
use super::{
    MAX_CHANNELS, MAX_MINUTES, MAX_SAMPLES, Particulars, Piece, RATES, Recording, codec, guard, tags, trim,
};
use std::io::{self, ErrorKind, SeekFrom};
use std::path::Path;
use symphonia::core::codecs::audio::well_known::CODEC_ID_VORBIS;
use symphonia::core::codecs::audio::{AudioCodecParameters, AudioDecoder, AudioDecoderOptions};
use symphonia::core::errors::Error;
use symphonia::core::formats::probe::Hint;
use symphonia::core::formats::{FormatOptions, FormatReader, Track, TrackType};
use symphonia::core::io::{MediaSource, MediaSourceStream};
use symphonia::core::meta::MetadataOptions;

/// The largest packet an MP4 may announce: a hundred times a film's key frame, and nothing for memory.
const MAX_PACKET_BYTES: u32 = 64 * 1024 * 1024;

/// Decodes the recording at `path`, whatever it is called, and keeps it whole.
///
/// `progress` hears how much is done, 0 to 1, ascending, about 100 times for a long file and at the end always 1.
///
/// # Errors
/// See [`DecodeError`]; each names the file and the way out.
pub fn decode(path: &Path, progress: &mut dyn FnMut(f32)) -> Result<Recording, DecodeError> {
    let mut store = Store::default();
    let particulars = stream(path, &mut |piece| store.push(piece.samples), progress)?;
    Ok(store.into_recording(particulars))
}

/// Decodes a recording from anything that can be read and sought in; `name` is what messages call it.
///
/// # Errors
/// As [`decode`], less those about finding and opening a file.
pub fn decode_from(
    source: Box<dyn MediaSource>,
    name: &str,
    progress: &mut dyn FnMut(f32),
) -> Result<Recording, DecodeError> {
    let mut store = Store::default();
    let particulars = stream_from(source, name, &mut |piece| store.push(piece.samples), progress)?;
    Ok(store.into_recording(particulars))
}

/// Decodes the recording at `path` piece by piece: `sink` gets, in order and once, exactly the samples that
/// [`decode`] would keep. Memory stays small, whatever the length.
///
/// `progress` is told as by [`decode`].
///
/// # Errors
/// As [`decode`]. Some are known only at the end: what `sink` got until then is not a recording.
pub fn stream(
    path: &Path,
    sink: &mut dyn FnMut(Piece<'_>),
    progress: &mut dyn FnMut(f32),
) -> Result<Particulars, DecodeError> {
    let given = shown(&path.to_string_lossy());
    let refusal = |source: io::Error| match source.kind() {
        ErrorKind::NotFound | ErrorKind::NotADirectory => DecodeError::Missing { file: given.clone() },
        ErrorKind::PermissionDenied => DecodeError::NoPermission { file: given.clone() },
        _ => DecodeError::Io { file: given.clone(), source },
    };
    let about = std::fs::metadata(path).map_err(refusal)?;
    if about.is_dir() {
        return Err(DecodeError::Directory { file: given });
    }
    if !about.is_file() {
        // A pipe or a device: opening it could wait for ever.
        return Err(DecodeError::NotAudio { file: given });
    }
    let file = std::fs::File::open(path).map_err(refusal)?;
    let name = path.file_name().unwrap_or(path.as_os_str()).to_string_lossy();
    stream_from(Box::new(file), &name, sink, progress)
}

/// Decodes a recording piece by piece from anything that can be read and sought in, as [`stream`] does.
///
/// # Errors
/// As [`stream`], less those about finding and opening a file.
pub fn stream_from(
    mut source: Box<dyn MediaSource>,
    name: &str,
    sink: &mut dyn FnMut(Piece<'_>),
    progress: &mut dyn FnMut(f32),
) -> Result<Particulars, DecodeError> {
    let name = shown(name);
    let mut opened = Opened::read(&mut source, &name)?;
    let mut reader = opened.probe(source)?;
    opened.container = container::of_reader(reader.format_info().format).unwrap_or(opened.container);
    let (track, parameters) = opened.choose(reader.as_ref())?;
    let tags = tags::read(reader.metadata());
    let decoder = opened.decoder(&parameters)?;
    let mut run = Run::new(&opened, track, parameters.codec, decoder, sink);
    while let Some(packet) = run.next_packet(reader.as_mut())? {
        run.take(&packet, progress)?;
    }
    let particulars = run.finish(tags)?;
    progress(1.0);
    Ok(particulars)
}

/// A name as it may be shown in a terminal.
fn shown(name: &str) -> String {
    tags::plain(name).unwrap_or_else(|| "?".to_owned())
}

/// What is known of a file before decoding.
pub(super) struct Opened {
    pub(super) name: String,
    pub(super) container: Container,
    bytes: u64,
    /// The header states more bytes than there are.
    short: bool,
    pub(super) movie: Option<Movie>,
}

impl Opened {
    /// Looks at the file's first bytes and, in an MP4, at its movie header; leaves `source` at its start.
    fn read(source: &mut Box<dyn MediaSource>, name: &str) -> Result<Self, DecodeError> {
        let io = |source| DecodeError::Io { file: name.to_owned(), source };
        let file = || name.to_owned();
        let bytes = source.seek(SeekFrom::End(0)).map_err(io)?;
        if bytes == 0 {
            return Err(DecodeError::Empty { file: file() });
        }
        source.seek(SeekFrom::Start(0)).map_err(io)?;
        let head = container::read_head(source).map_err(io)?;
        let container = container::sniff(&head);
        if let Container::Foreign(format) = container {
            return Err(DecodeError::UnsupportedFormat { file: file(), format: format.to_owned() });
        }
        if let Some((channels, rate)) = container::stated(container, &head) {
            check_shape(name, channels.into(), rate)?;
        }
        let movie = if container == Container::Mp4 { mp4::read(source.as_mut()).map_err(io)? } else { None };
        source.seek(SeekFrom::Start(0)).map_err(io)?;
        let short = container::stated_bytes(container, &head) > bytes
            || movie.as_ref().is_some_and(|movie| movie.is_cut);
        let opened = Self { name: file(), container, bytes, short, movie };
        opened.check_movie()?;
        Ok(opened)
    }

    /// Refuses an MP4 that has no movie header, no sound, or only locked or unknown sound, before it is probed.
    fn check_movie(&self) -> Result<(), DecodeError> {
        if self.container != Container::Mp4 {
            return Ok(());
        }
        let file = || self.name.clone();
        let Some(movie) = &self.movie else { return Err(DecodeError::CutShort { file: file() }) };
        let mut sounds = movie.tracks.iter().filter(|track| track.is_sound()).peekable();
        if sounds.peek().is_none() {
            return Err(DecodeError::NoAudioTrack { file: file() });
        }
        if sounds.all(|track| track.is_protected()) {
            return Err(DecodeError::Protected { file: file() });
        }
        if movie.tracks.iter().any(|track| track.largest_sample > MAX_PACKET_BYTES) {
            return Err(DecodeError::DamagedHeader { file: file() });
        }
        Ok(())
    }

    fn probe(&self, source: Box<dyn MediaSource>) -> Result<Box<dyn FormatReader>, DecodeError> {
        // Where a file can be sought in, the demuxers look behind the sound first and refuse a file that is cut
        // short; read from front to back they give what there is.
        let straight = self.short && matches!(self.container, Container::Aiff | Container::Mp4);
        let source = if straight { Box::new(Unseekable(source)) } else { source };
        let stream = MediaSourceStream::new(source, Default::default());
        let (format, metadata) = (FormatOptions::default(), MetadataOptions::default());
        let probe = || symphonia::default::get_probe().probe(&Hint::new(), stream, format, metadata);
        let file = self.name.clone();
        match guard::run(probe) {
            Some(Ok(reader)) => Ok(reader),
            Some(Err(Error::IoError(source))) if source.raw_os_error().is_some() => {
                Err(DecodeError::Io { file, source })
            }
            _ if self.container == Container::Unknown => Err(DecodeError::NotAudio { file }),
            Some(Err(Error::IoError(source))) if source.kind() == ErrorKind::UnexpectedEof => {
                Err(DecodeError::CutShort { file })
            }
            _ if self.short => Err(DecodeError::CutShort { file }),
            _ => Err(DecodeError::DamagedHeader { file }),
        }
    }

    /// The track to decode: the default one, or else the first that is sound.
    pub(super) fn choose(
        &self,
        reader: &dyn FormatReader,
    ) -> Result<(Track, AudioCodecParameters), DecodeError> {
        let file = || self.name.clone();
        let track = reader.default_track(TrackType::Audio).or_else(|| reader.first_track(TrackType::Audio));
        let parameters = track.and_then(|track| track.codec_params.as_ref()?.audio());
        let Some((track, parameters)) = track.zip(parameters) else {
            let unknown = self.movie.iter().flat_map(|movie| &movie.tracks);
            let unknown =
                unknown.filter(|track| track.is_sound() && !track.is_protected()).map(|track| track.entry);
            return Err(match unknown.into_iter().next() {
                Some(entry) => {
                    DecodeError::UnsupportedFormat { file: file(), format: codec::four_letters(entry) }
                }
                None => DecodeError::NoAudioTrack { file: file() },
            });
        };
        // An MP4 sample entry cannot hold rates from 65536 Hz up; the decoder knows better.
        if let Some(rate) =
            parameters.sample_rate.filter(|&rate| rate > 0 || self.container != Container::Mp4)
        {
            let channels = parameters.channels.as_ref().map_or(1, |channels| channels.count());
            check_shape(&self.name, channels, rate)?;
            let limit = trim::plan(self.container, parameters.codec, track, self.movie.as_ref(), rate);
            let stated = limit.keep.or(limit.whole).or(track.num_frames.filter(|_| self.is_counted()));
            check_size(&self.name, stated.unwrap_or(0).min(self.most_frames(parameters)), channels, rate)?;
        }
        Ok((track.clone(), parameters.clone()))
    }

    /// Whether the container counts its frames; MPEG streams only guess from their bit rate.
    pub(super) fn is_counted(&self) -> bool {
        !matches!(self.container, Container::Mpeg | Container::Unknown)
    }

    /// The most frames the file's bytes can hold, so that a header whose writer did not know the length (a pipe)
    /// does not count as a promise.
    fn most_frames(&self, parameters: &AudioCodecParameters) -> u64 {
        let channels = parameters.channels.as_ref().map_or(1, |channels| channels.count()) as u64;
        match (self.container, parameters.bits_per_coded_sample) {
            (Container::Wave | Container::Aiff, Some(bits)) => {
                self.bytes / (u64::from(bits.div_ceil(8)) * channels).max(1)
            }
            _ => u64::MAX,
        }
    }

    pub(super) fn decoder(
        &self,
        parameters: &AudioCodecParameters,
    ) -> Result<Box<dyn AudioDecoder>, DecodeError> {
        // Vorbis positions are trimmed by the decoder; the rest is trimmed here, since for MP3 the decoder would also cut
        // at a length that was only estimated.
        let vorbis = parameters.codec == CODEC_ID_VORBIS;
        let options = AudioDecoderOptions::default().gapless(vorbis);
        let make = || symphonia::default::get_codecs().make_audio_decoder(parameters, &options);
        match guard::run(make) {
            Some(Ok(decoder)) => Ok(decoder),
            Some(Err(Error::Unsupported(_))) => Err(DecodeError::UnsupportedFormat {
                file: self.name.clone(),
                format: codec::name(parameters.codec),
            }),
            _ => Err(DecodeError::DamagedHeader { file: self.name.clone() }),
        }
    }
}

/// A source that is read from front to back only.
struct Unseekable(Box<dyn MediaSource>);

impl io::Read for Unseekable {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        self.0.read(buffer)
    }
}

impl io::Seek for Unseekable {
    fn seek(&mut self, _to: SeekFrom) -> io::Result<u64> {
        Err(ErrorKind::Unsupported.into())
    }
}

impl MediaSource for Unseekable {
    fn is_seekable(&self) -> bool {
        false
    }

    fn byte_len(&self) -> Option<u64> {
        None
    }
}

/// Refuses absurd headers.
pub(super) fn check_shape(name: &str, channels: usize, rate: u32) -> Result<(), DecodeError> {
    if channels == 0 || channels > MAX_CHANNELS {
        return Err(DecodeError::BadChannels { file: name.to_owned(), channels });
    }
    if !RATES.contains(&rate) {
        return Err(DecodeError::BadRate { file: name.to_owned(), rate });
    }
    Ok(())
}

/// Refuses what is too long to dance to or too large to hold.
pub(super) fn check_size(name: &str, frames: u64, channels: usize, rate: u32) -> Result<(), DecodeError> {
    if frames > MAX_MINUTES * 60 * u64::from(rate) {
        return Err(DecodeError::TooLong { file: name.to_owned() });
    }
    if frames.saturating_mul(channels as u64) > MAX_SAMPLES {
        return Err(DecodeError::TooLarge { file: name.to_owned(), channels, rate });
    }
    Ok(())
}
