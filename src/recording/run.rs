//! One pass over a file's packets: what decodes is handed on, what does not leaves silence, and limits hold throughout.

use super::container::Container;
use super::decode::{Opened, check_shape, check_size};
use super::error::DecodeError;
use super::flow::{Flow, Sink};
use super::trim::{self, Trim};
use super::{Particulars, Tags, Warning, codec, guard};
use crate::units::SampleRate;
use std::io::ErrorKind;
use symphonia::core::codecs::audio::well_known::CODEC_ID_VORBIS;
use symphonia::core::codecs::audio::{AudioCodecId, AudioDecoder};
use symphonia::core::errors::Error;
use symphonia::core::formats::{FormatReader, Track};
use symphonia::core::packet::Packet;

/// How often in a row the container may fail to give a packet before the rest is given up: a damaged page can be
/// stepped over, a reader that is stuck cannot.
const MAX_STUMBLES: u32 = 16;

/// The longest stretch of damage that is filled with silence, in seconds: a larger jump is a damaged position.
const MAX_GAP_SECONDS: u64 = 60;

/// The most silence put in a lost packet's place, in frames: the largest packet there is, a FLAC block.
const MAX_PACKET_FRAMES: u64 = 65_536;

/// The step in which progress is told.
const PROGRESS_STEP: f32 = 0.01;

/// What the decoder gives.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Shape {
    channels: usize,
    rate: u32,
}

/// What is settled by the first packet that decodes.
struct Kept {
    shape: Shape,
    trim: Trim,
    flow: Flow,
}

/// One pass over a file.
pub(super) struct Run<'a> {
    opened: &'a Opened,
    track: Track,
    codec: AudioCodecId,
    decoder: Box<dyn AudioDecoder>,
    sink: &'a mut Sink<'a>,
    kept: Option<Kept>,
    /// Frames lost before the first packet that could be decoded, in the track's ticks.
    lost_before: u64,
    packets: u32,
    damaged: u32,
    stumbles: u32,
    /// The file ended in the middle of something.
    cut: bool,
    /// The recording is followed by others, joined to it or not.
    chained: bool,
    /// What follows cannot be joined.
    only_first: bool,
    told: f32,
}

impl<'a> Run<'a> {
    pub(super) fn new(
        opened: &'a Opened,
        track: Track,
        codec: AudioCodecId,
        decoder: Box<dyn AudioDecoder>,
        sink: &'a mut Sink<'a>,
    ) -> Self {
        Self {
            opened,
            track,
            codec,
            decoder,
            sink,
            kept: None,
            lost_before: 0,
            packets: 0,
            damaged: 0,
            stumbles: 0,
            cut: false,
            chained: false,
            only_first: false,
            told: 0.0,
        }
    }

    /// The next packet of our track; `None` at the end, whatever kind of end it is.
    pub(super) fn next_packet(
        &mut self,
        reader: &mut dyn FormatReader,
    ) -> Result<Option<Packet>, DecodeError> {
        while !self.only_first {
            match guard::run(|| reader.next_packet()) {
                Some(Ok(Some(packet))) => {
                    self.stumbles = 0;
                    if packet.track_id == self.track.id {
                        return Ok(Some(packet));
                    }
                }
                Some(Ok(None)) => return Ok(None),
                Some(Err(Error::ResetRequired)) => self.follow_on(reader),
                Some(Err(Error::IoError(source))) if source.raw_os_error().is_some() => {
                    return Err(DecodeError::Io { file: self.opened.name.clone(), source });
                }
                Some(Err(Error::IoError(source))) if source.kind() == ErrorKind::UnexpectedEof => {
                    self.cut = true;
                    return Ok(None);
                }
                Some(Err(_)) if self.stumbles < MAX_STUMBLES => {
                    self.stumbles += 1;
                    self.damaged += u32::from(self.stumbles == 1);
                }
                Some(Err(_)) | None => {
                    self.cut = true;
                    return Ok(None);
                }
            }
        }
        Ok(None)
    }

    /// Goes on with the recording that follows in the same file (chained Ogg streams), if it can be decoded.
    fn follow_on(&mut self, reader: &dyn FormatReader) {
        let next = self.opened.choose(reader).and_then(|(track, parameters)| {
            let decoder = self.opened.decoder(&parameters)?;
            Ok((track, parameters.codec, decoder))
        });
        self.chained = true;
        match next {
            Ok((track, codec, decoder)) => (self.track, self.codec, self.decoder) = (track, codec, decoder),
            Err(_) => self.only_first = true,
        }
    }

    /// Decodes one packet and keeps what it gives, or silence in its place.
    pub(super) fn take(&mut self, packet: &Packet, progress: &mut dyn FnMut(f32)) -> Result<(), DecodeError> {
        self.packets = self.packets.saturating_add(1);
        let decoder = &mut self.decoder;
        let decoded = guard::run(|| {
            decoder.decode(packet).map(|decoded| {
                let spec = decoded.spec();
                (Shape { channels: spec.channels().count(), rate: spec.rate() }, decoded.is_empty())
            })
        });
        match decoded {
            // Vorbis needs a packet to start from, and may have nothing left of a trimmed one.
            Some(Ok((_, true))) if self.codec == CODEC_ID_VORBIS => return Ok(()),
            Some(Ok((shape, false))) => self.keep(shape, packet)?,
            Some(Err(Error::Unsupported(_))) if self.kept.is_none() => {
                let (file, format) = (self.opened.name.clone(), codec::name(self.codec));
                return Err(DecodeError::UnsupportedFormat { file, format });
            }
            Some(Ok((_, true)) | Err(_)) | None => self.lose(packet),
        }
        self.check_limits()?;
        self.tell(progress);
        Ok(())
    }

    fn keep(&mut self, shape: Shape, packet: &Packet) -> Result<(), DecodeError> {
        if self.kept.is_none() {
            check_shape(&self.opened.name, shape.channels, shape.rate)?;
            let (container, movie) = (self.opened.container, self.opened.movie.as_ref());
            let trim = trim::plan(container, self.codec, &self.track, movie, shape.rate);
            let mut flow = Flow::new(shape.channels as u16, SampleRate(shape.rate), &trim);
            flow.push_silence(self.frames_of(self.lost_before, shape.rate), self.sink);
            self.kept = Some(Kept { shape, trim, flow });
        }
        let Some(kept) = &mut self.kept else { return Ok(()) };
        if shape != kept.shape {
            self.only_first = true;
            return Ok(());
        }
        if self.opened.container == Container::Flac {
            let gap = kept.gap_before(packet.pts.get());
            kept.flow.push_silence(gap, self.sink);
            self.damaged += u32::from(gap > 0);
        }
        if self.chained {
            kept.flow.disbelieve_end(self.sink);
        }
        kept.flow.push(&self.decoder.last_decoded(), self.sink);
        Ok(())
    }

    /// Leaves silence where `packet` should have been, so that what follows stays in time.
    fn lose(&mut self, packet: &Packet) {
        self.damaged = self.damaged.saturating_add(1);
        let ticks = packet.dur.get().saturating_add(packet.trim_start.get());
        match self.kept.as_ref().map(|kept| kept.shape.rate) {
            // Counted by position instead.
            Some(_) if self.opened.container == Container::Flac => {}
            Some(rate) => {
                let frames = self.frames_of(ticks, rate).min(MAX_PACKET_FRAMES);
                if let Some(kept) = &mut self.kept {
                    kept.flow.push_silence(frames, self.sink);
                }
            }
            None => self.lost_before = self.lost_before.saturating_add(ticks),
        }
    }

    /// `ticks` of the track as frames, no more than [`MAX_GAP_SECONDS`].
    fn frames_of(&self, ticks: u64, rate: u32) -> u64 {
        let Some(base) = self.track.time_base else { return 0 };
        let frames = trim::rescale(ticks.saturating_mul(base.numer.get().into()), base.denom.get(), rate);
        frames.min(MAX_GAP_SECONDS * u64::from(rate))
    }

    fn check_limits(&self) -> Result<(), DecodeError> {
        let Some(Kept { shape, flow, .. }) = &self.kept else { return Ok(()) };
        check_size(&self.opened.name, flow.frames, shape.channels, shape.rate)
    }

    fn tell(&mut self, progress: &mut dyn FnMut(f32)) {
        let Some(kept) = &self.kept else { return };
        // An estimate is good enough here.
        let Some(expected) = kept.trim.whole.or(self.track.num_frames) else { return };
        let done = (kept.flow.frames_seen as f64 / expected.max(1) as f64).min(1.0) as f32;
        if done >= self.told + PROGRESS_STEP {
            self.told = done;
            progress(done);
        }
    }

    /// Leaves the padding at the end out and sums up what was amiss.
    pub(super) fn finish(self, tags: Tags) -> Result<Particulars, DecodeError> {
        let file = || self.opened.name.clone();
        if self.damaged > self.packets.saturating_sub(self.damaged) {
            return Err(DecodeError::Damaged { file: file(), damaged: self.damaged, packets: self.packets });
        }
        let Some(Kept { shape, trim, mut flow }) = self.kept else {
            let promised = self.track.num_frames.is_some_and(|frames| frames > 0);
            return Err(if self.cut || (promised && self.opened.is_counted()) {
                DecodeError::CutShort { file: file() }
            } else {
                DecodeError::NoFrames { file: file() }
            });
        };
        let mut warnings = Vec::from_iter(trim.doubt.clone());
        // Plain samples end where the file ends; there only the stated length can tell.
        let cut = self.cut && !matches!(self.opened.container, Container::Wave | Container::Aiff);
        let missing = trim.whole.map_or(0, |whole| whole.saturating_sub(flow.frames_seen));
        if !self.chained && (cut || missing > trim.slack) {
            let missing = if missing > trim.slack { missing } else { 0 };
            let missing_seconds = trim::rescale(missing, shape.rate, 1) as u32;
            warnings.push(Warning::Truncated { missing_seconds });
        }
        if self.damaged > 0 {
            warnings.push(Warning::Damaged { packets: self.damaged });
        }
        if flow.bad_samples > 0 {
            warnings.push(Warning::BadSamples { count: flow.bad_samples });
        }
        if self.only_first {
            warnings.push(Warning::OnlyFirstPart);
        }
        if self.chained {
            flow.disbelieve_end(self.sink);
        }
        let Some(identity) = flow.finish() else { return Err(DecodeError::NoFrames { file: file() }) };
        let (channels, rate) = (shape.channels as u16, SampleRate(shape.rate));
        Ok(Particulars { channels, rate, identity, tags, warnings })
    }
}

impl Kept {
    /// Frames missing between what was decoded and a packet at position `at`, 0 where the position cannot be right.
    fn gap_before(&self, at: i64) -> u64 {
        let gap = u64::try_from(at).unwrap_or(0).saturating_sub(self.flow.frames_seen);
        let end = self.trim.whole.unwrap_or(u64::MAX);
        let known = self.flow.frames_seen > 0 || self.trim.whole.is_some();
        let fits = gap <= MAX_GAP_SECONDS * u64::from(self.shape.rate) && self.flow.frames_seen + gap <= end;
        if known && fits { gap } else { 0 }
    }
}
