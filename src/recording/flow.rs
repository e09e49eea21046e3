//! Decoded frames on their way to whoever hears them: trimmed, made finite, identified and handed on at once.
//!
//! Nothing is kept but the frames beyond the end that the container states: they are padding, unless it turns out that
//! there is more sound than the statement speaks of, and then they are sound after all.

use super::Piece;
use super::identity::Fingerprint;
use super::trim::Trim;
use crate::identity::Identity;
use crate::units::SampleRate;
use symphonia::core::audio::GenericAudioBufferRef;

/// Frames of silence written at once.
const SILENCE_FRAMES: u64 = 4096;

/// Who hears the sound, piece by piece.
pub(super) type Sink<'a> = dyn FnMut(Piece<'_>) + 'a;

/// Hands on interleaved samples, leaving out an encoder's padding and silencing what is not a number.
pub(super) struct Flow {
    channels: u16,
    rate: SampleRate,
    /// Frames of silence still to come before the first sound.
    lead: u64,
    /// Frames still to leave out at the start.
    to_skip: u64,
    /// Frames still to hand on before what follows is held back; `None` where nothing is.
    room: Option<u64>,
    /// Frames seen beyond which the stated end is not believed.
    believed: u64,
    /// What lies beyond the stated end.
    held: Vec<f32>,
    fingerprint: Fingerprint,
    scratch: Vec<f32>,
    /// Samples that were NaN or infinite.
    pub(super) bad_samples: u64,
    /// Frames that came in, those left out included.
    pub(super) frames_seen: u64,
    /// Frames that came in after those left out at the start.
    pub(super) frames: u64,
}

impl Flow {
    /// A flow of frames of `channels` (at least 1) samples, trimmed as `trim` says.
    pub(super) fn new(channels: u16, rate: SampleRate, trim: &Trim) -> Self {
        Self {
            channels,
            rate,
            lead: trim.lead,
            to_skip: trim.skip,
            room: trim.keep,
            believed: trim.whole.map_or(u64::MAX, |whole| whole.saturating_add(trim.slack)),
            held: Vec::new(),
            fingerprint: Fingerprint::new(channels, rate),
            scratch: Vec::new(),
            bad_samples: 0,
            frames_seen: 0,
            frames: 0,
        }
    }

    /// Takes a decoded packet, which must have as many channels as the flow.
    pub(super) fn push(&mut self, packet: &GenericAudioBufferRef<'_>, sink: &mut Sink<'_>) {
        let mut scratch = std::mem::take(&mut self.scratch);
        scratch.resize(packet.samples_interleaved(), 0.0);
        packet.copy_to_slice_interleaved(&mut scratch);
        self.extend(&mut scratch, sink);
        self.scratch = scratch;
    }

    /// Takes `frames` of silence, standing for sound that could not be decoded.
    pub(super) fn push_silence(&mut self, frames: u64, sink: &mut Sink<'_>) {
        let mut quiet = std::mem::take(&mut self.scratch);
        for piece in pieces(frames) {
            quiet.clear();
            quiet.resize(piece * self.width(), 0.0);
            self.extend(&mut quiet, sink);
        }
        self.scratch = quiet;
    }

    /// Hands on what was held back, and holds back nothing from here on: the stated end is not the end.
    pub(super) fn disbelieve_end(&mut self, sink: &mut Sink<'_>) {
        if self.room.take().is_some() {
            let held = std::mem::take(&mut self.held);
            self.give(&held, sink);
        }
    }

    /// What identifies all that was handed on; `None` where that is nothing. What is still held back was padding.
    pub(super) fn finish(self) -> Option<Identity> {
        let identity = self.fingerprint.finish();
        (identity.frames > 0).then_some(identity)
    }

    fn extend(&mut self, samples: &mut [f32], sink: &mut Sink<'_>) {
        let frames = (samples.len() / self.width()) as u64;
        self.frames_seen += frames;
        let skipped = self.to_skip.min(frames);
        self.to_skip -= skipped;
        self.frames += frames - skipped;
        let rest = &mut samples[skipped as usize * usize::from(self.channels)..];
        // Next to no packet has any; to know so without a way out can be done several samples at a time.
        if rest.iter().fold(false, |any, sample| any | !sample.is_finite()) {
            for sample in rest.iter_mut().filter(|sample| !sample.is_finite()) {
                *sample = 0.0;
                self.bad_samples += 1;
            }
        }
        if self.frames_seen > self.believed {
            self.disbelieve_end(sink);
        }
        let Some(room) = &mut self.room else { return self.give(rest, sink) };
        let within = (*room).min(frames - skipped);
        *room -= within;
        let (sound, beyond) = rest.split_at(within as usize * usize::from(self.channels));
        self.held.extend_from_slice(beyond);
        self.give(sound, sink);
    }

    fn give(&mut self, samples: &[f32], sink: &mut Sink<'_>) {
        if samples.is_empty() {
            return;
        }
        let (channels, rate) = (self.channels, self.rate);
        let fingerprint = &mut self.fingerprint;
        let mut tell = |samples: &[f32]| {
            fingerprint.push(samples);
            sink(Piece { samples, channels, rate });
        };
        // Only now, since silence before no sound is no recording.
        for piece in pieces(std::mem::take(&mut self.lead)) {
            tell(&vec![0.0; piece * usize::from(channels)]);
        }
        tell(samples);
    }

    fn width(&self) -> usize {
        usize::from(self.channels)
    }
}

/// The lengths of the pieces in which `frames` of silence are written.
fn pieces(frames: u64) -> impl Iterator<Item = usize> {
    (0..frames).step_by(SILENCE_FRAMES as usize).map(move |at| (frames - at).min(SILENCE_FRAMES) as usize)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What comes out of a flow of numbered frames in packets of these lengths, and the flow's counts of frames
    /// seen and kept.
    fn through(channels: u16, trim: &Trim, packets: &[usize]) -> (Vec<f32>, (u64, u64), Option<Identity>) {
        let mut out = Vec::new();
        let mut flow = Flow::new(channels, SampleRate(8_000), trim);
        let mut next = 0;
        for frames in packets {
            let mut packet: Vec<f32> =
                (next..next + frames * usize::from(channels)).map(|i| i as f32).collect();
            next += packet.len();
            flow.extend(&mut packet, &mut |piece| out.extend_from_slice(piece.samples));
        }
        let counts = (flow.frames_seen, flow.frames);
        (out, counts, flow.finish())
    }

    #[test]
    fn the_first_frames_are_left_out_and_the_end_is_cut() {
        let trim = Trim { skip: 1_105, keep: Some(10), ..Trim::default() };
        let (out, counts, identity) = through(2, &trim, &[1_000, 1_000, 1_000]);
        assert_eq!((out.len(), out[0], out[19]), (20, 2_210.0, 2_229.0));
        assert_eq!(counts, (3_000, 1_895));
        assert_eq!(identity, Some(Identity::of(&out, 2, SampleRate(8_000))));
    }

    #[test]
    fn silence_leads_sound_but_not_nothing() {
        let (out, ..) = through(1, &Trim { lead: 2, ..Trim::default() }, &[3]);
        assert_eq!(out, [0.0, 0.0, 0.0, 1.0, 2.0]);
        let (out, _, identity) = through(1, &Trim { lead: 2, skip: 3, ..Trim::default() }, &[3]);
        assert_eq!((out, identity), (Vec::new(), None));
        let (out, ..) = through(2, &Trim { lead: 10_000, ..Trim::default() }, &[1]);
        assert_eq!(out.len(), 20_002);
    }

    #[test]
    fn an_end_that_is_outgrown_is_no_end() {
        let trim = Trim { keep: Some(10), whole: Some(12), slack: 3, ..Trim::default() };
        let (out, ..) = through(1, &trim, &[9, 5, 1]);
        assert_eq!(out.len(), 10, "fifteen frames are within the slack");
        for packets in [&[9, 5, 1, 1][..], &[16], &[1; 16]] {
            let (out, ..) = through(1, &trim, packets);
            assert!(out.len() == 16 && out.is_sorted(), "{out:?}");
        }
    }

    #[test]
    fn what_is_not_a_number_is_silence_and_counted() {
        let mut out = Vec::new();
        let mut flow = Flow::new(1, SampleRate(8_000), &Trim::default());
        let mut samples = [0.5, f32::NAN, f32::INFINITY, f32::NEG_INFINITY, f32::MAX];
        flow.extend(&mut samples, &mut |piece| out.extend_from_slice(piece.samples));
        assert_eq!(flow.bad_samples, 3);
        assert_eq!(out, [0.5, 0.0, 0.0, 0.0, f32::MAX]);
    }
}
