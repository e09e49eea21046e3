//! The sound device: opened, watched and opened again on a thread of its own, never on the screen's.
//!
//! The device is reached through cpal, in the version that rodio re-exports, and not through rodio's mixer: the mixer throws
//! away the timestamp that says when a buffer will be heard, and the whole floor hangs on it.

use super::device;
use super::feed::Feed;
use super::guarded::{fail_if_asked, guarded};
use super::handover::{Giving, handover, placed};
use super::prepare::{Prepared, prepare};
use super::shared::Shared;
use super::transport::Clock;
use super::{Click, Programme};
use rodio::cpal;
use rodio::cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
use rodio::cpal::{BufferSize, FromSample, SampleFormat, SizedSample, StreamConfig, SupportedBufferSize};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

/// How long to wait before looking for a device again, after one that did play: a moment's trouble must not cost seconds of music ...
const AGAIN: Duration = Duration::from_millis(200);
/// ... and at most, as each try that came to nothing doubles it: a device that is not there is not asked for all the time.
const RETRY: Duration = Duration::from_secs(2);
/// A device that broke sooner than this after it was opened did not play.
const STEADY: Duration = Duration::from_secs(5);
/// How often an open stream is looked at.
const WATCH: Duration = Duration::from_millis(100);
/// A callback that has not run for so long, in nanoseconds, is not coming back.
const STALLED: u64 = 2_000_000_000;
/// Nor one that has not run for so long since the device told of an error. Errors alone prove nothing: ALSA's plug-in for
/// PulseAudio tells of some hundred "I/O errors" in the first milliseconds of a stream that then plays for hours.
const TROUBLED: u64 = 250_000_000;
/// How often the name of the device is asked for: a loudspeaker may be taken in the middle of a lesson.
const NAME: Duration = Duration::from_secs(5);
/// Frames handed over at once, at 48 kHz: 85 ms, and twice that in flight. Large, because the delay is known and
/// subtracted, and a gap in the music is not. With half of it, three gaps of 5 to 72 ms were heard in ten minutes on a machine whose
/// cores were both busy: it must outlast some 165 ms without a turn. The price is that a pause is heard so much later.
const BUFFER: u32 = 4_096;

/// The thread that keeps a device open; it ends when this is dropped.
#[derive(Debug)]
pub(super) struct Output {
    /// Takes other clicks; without it the thread ends.
    clicks: Option<Sender<Vec<Click>>>,
    thread: Option<JoinHandle<()>>,
    name: Name,
}

/// What the device is called. Between the screen and the thread that opens devices only: the callback never sees it.
type Name = Arc<Mutex<Option<Arc<str>>>>;

impl Output {
    /// Starts looking for a device; `None` when the system gives no thread, and then all stays silent.
    pub(super) fn start(shared: Arc<Shared>, clock: Clock, programme: Programme) -> Option<Self> {
        let (clicks, others) = channel();
        let name = Name::default();
        let told = Arc::clone(&name);
        let thread = thread::Builder::new()
            .name("sound".to_owned())
            .spawn(move || keep_open(&shared, &clock, programme, (&others, &told)))
            .ok()?;
        Some(Self { clicks: Some(clicks), thread: Some(thread), name })
    }

    /// Other clicks, for the device that plays and for those that come after it.
    pub(super) fn set_clicks(&self, clicks: Vec<Click>) {
        if let Some(sender) = &self.clicks {
            // A thread that has ended plays nothing any more.
            let _ = sender.send(clicks);
        }
    }

    /// What the device that was opened last is called.
    pub(super) fn name(&self) -> Option<Arc<str>> {
        self.name.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }
}

impl Drop for Output {
    fn drop(&mut self) {
        self.clicks.take();
        // A sound server that hangs must not keep the program from ending.
        for _ in 0..50 {
            if self.thread.as_ref().is_none_or(JoinHandle::is_finished) {
                return;
            }
            thread::sleep(Duration::from_millis(10));
        }
    }
}

/// Opens a device, watches it, and begins again when it is lost, until told to stop.
fn keep_open(
    shared: &Arc<Shared>,
    clock: &Clock,
    mut programme: Programme,
    (others, name): (&Receiver<Vec<Click>>, &Name),
) {
    let call = |told: Option<String>| {
        if let Some(told) = told {
            *name.lock().unwrap_or_else(PoisonError::into_inner) = Some(told.into());
        }
    };
    let mut prepared = None;
    let mut number = 0;
    let mut in_vain = 0;
    loop {
        number += 1;
        let state = Arc::new(State::default());
        let opened = guarded(|| open(shared, clock, &programme, number, &state, &mut prepared)).flatten();
        shared.tried.store(true, Ordering::Relaxed);
        in_vain += 1;
        if let Some((stream, mut giving, device)) = opened {
            shared.pulse.store(clock.now(), Ordering::Relaxed);
            shared.stream.store(number, Ordering::Release);
            let alive = || state.alive(clock.now(), shared.pulse.load(Ordering::Relaxed));
            let opened_at = Instant::now();
            call(device::name(&device));
            let mut going = true;
            let mut looks = 0;
            while going && alive() {
                match others.recv_timeout(WATCH) {
                    Ok(clicks) => {
                        programme.clicks = clicks;
                        if let Some(prepared) = &prepared {
                            giving.give(placed(&programme.clicks, prepared.rate));
                        }
                    }
                    Err(RecvTimeoutError::Timeout) => giving.tend(),
                    Err(RecvTimeoutError::Disconnected) => going = false,
                }
                looks += 1;
                if going && looks % NAME.as_millis().div_euclid(WATCH.as_millis()) == 0 {
                    call(device::server_output());
                }
            }
            shared.stream.store(0, Ordering::Release);
            if opened_at.elapsed() > STEADY {
                in_vain = 0;
            }
            drop(stream);
            if !going {
                return;
            }
        }
        match others.recv_timeout(pause_after(in_vain)) {
            Ok(clicks) => programme.clicks = clicks,
            Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => return,
        }
    }
}

/// How long to wait before the next try, after so many in vain.
fn pause_after(in_vain: u32) -> Duration {
    AGAIN.saturating_mul(1 << in_vain.min(8)).min(RETRY)
}

/// The default output device, playing, and the way to hand it other clicks; `None` when there is none or it does not open.
///
/// `prepared` keeps the converted recording from one device to the next.
fn open(
    shared: &Arc<Shared>,
    clock: &Clock,
    programme: &Programme,
    number: u64,
    state: &Arc<State>,
    prepared: &mut Option<Prepared>,
) -> Option<(cpal::Stream, Giving, cpal::Device)> {
    let device = cpal::default_host().default_output_device()?;
    let (config, format, buffer) = choose(&device, programme)?;
    let fits = prepared.take().filter(|prepared| prepared.rate == config.sample_rate);
    let fitting = fits.unwrap_or_else(|| match &programme.recording {
        Some(recording) => prepare(recording, config.sample_rate),
        None => Prepared::silence(config.sample_rate),
    });
    *prepared = Some(fitting.clone());
    // Some systems refuse any fixed size; theirs is better than silence.
    let opened = [buffer, BufferSize::Default].into_iter().find_map(|buffer_size| {
        let config = StreamConfig { buffer_size, ..config };
        let (giving, others) = handover();
        let feed = Feed::new(Arc::clone(shared), number, fitting.clone(), programme, others);
        let start = Start { device: &device, config, feed, clock, shared, state };
        let stream = match format {
            SampleFormat::F32 => start.stream::<f32>(),
            SampleFormat::I32 => start.stream::<i32>(),
            SampleFormat::I16 => start.stream::<i16>(),
            SampleFormat::U16 => start.stream::<u16>(),
            SampleFormat::U8 => start.stream::<u8>(),
            _ => None,
        };
        stream.map(|stream| (stream, giving))
    })?;
    Some((opened.0, opened.1, device))
}

/// The device's own configuration; at the recording's rate where the system converts rates itself.
fn choose(device: &cpal::Device, programme: &Programme) -> Option<(StreamConfig, SampleFormat, BufferSize)> {
    let usual = device.default_output_config().ok()?;
    let mut chosen = usual;
    // On Linux the sound server mixes any rate; elsewhere another rate would change the device for every program.
    if cfg!(target_os = "linux")
        && let Some(rate) = programme.recording.as_ref().map(|recording| recording.rate.0)
        && let Ok(supported) = device.supported_output_configs()
    {
        let same = supported
            .filter(|range| {
                range.channels() == usual.channels() && range.sample_format() == usual.sample_format()
            })
            .find_map(|range| range.try_with_sample_rate(rate));
        chosen = same.unwrap_or(chosen);
    }
    let wanted = (u64::from(BUFFER) * u64::from(chosen.sample_rate()) / 48_000).next_power_of_two();
    let wanted = u32::try_from(wanted).unwrap_or(BUFFER);
    let buffer = match *chosen.buffer_size() {
        SupportedBufferSize::Range { min, max } => BufferSize::Fixed(wanted.clamp(min.max(1), max.max(1))),
        SupportedBufferSize::Unknown => BufferSize::Fixed(wanted),
    };
    Some((chosen.config(), chosen.sample_format(), buffer))
}

/// What a stream's own threads say of it.
#[derive(Debug, Default)]
struct State {
    /// It is over: the device is gone, or the callback failed.
    lost: AtomicBool,
    /// When the device last told of an error that may pass, in the clock's nanoseconds; 0 is never.
    troubled: AtomicU64,
}

impl State {
    /// Whether the stream still plays at `now`, its callback having run last at `pulse`.
    fn alive(&self, now: u64, pulse: u64) -> bool {
        let troubled = self.troubled.load(Ordering::Relaxed) > pulse;
        let patience = if troubled { TROUBLED } else { STALLED };
        !self.lost.load(Ordering::Relaxed) && now.saturating_sub(pulse) < patience
    }
}

/// All that a stream needs to start.
struct Start<'a> {
    device: &'a cpal::Device,
    config: StreamConfig,
    feed: Feed,
    clock: &'a Clock,
    shared: &'a Arc<Shared>,
    state: &'a Arc<State>,
}

impl Start<'_> {
    fn stream<T: SizedSample + FromSample<f32>>(self) -> Option<cpal::Stream> {
        let Self { device, config, mut feed, clock, shared, state } = self;
        let (clock, shared, state) = (clock.clone(), Arc::clone(shared), Arc::clone(state));
        let channels = usize::from(config.channels).max(1);
        let (broken, watch, mut whole) = (Arc::clone(&state), clock.clone(), true);
        let fill = move |buffer: &mut [T], info: &cpal::OutputCallbackInfo| {
            // After a fault this stream stays silent until it is replaced.
            if !whole {
                buffer.fill(T::EQUILIBRIUM);
                return;
            }
            let now = clock.now();
            let times = info.timestamp();
            let latency = times.playback.duration_since(times.callback).as_nanos();
            let latency = u64::try_from(latency).unwrap_or(0);
            let filled = guarded(|| {
                fail_if_asked();
                feed.fill(buffer.len() / channels, now, latency, |frame, left, right| {
                    let out = &mut buffer[frame * channels..(frame + 1) * channels];
                    out.fill(T::EQUILIBRIUM);
                    if channels == 1 {
                        out[0] = T::from_sample(0.5 * (left + right));
                    } else {
                        out[0] = T::from_sample(left);
                        out[1] = T::from_sample(right);
                    }
                });
            });
            if filled.is_none() {
                whole = false;
                buffer.fill(T::EQUILIBRIUM);
                broken.lost.store(true, Ordering::Relaxed);
            }
        };
        let trouble = move |error: cpal::Error| match error.kind() {
            cpal::ErrorKind::Xrun => {
                shared.dry.fetch_add(1, Ordering::Relaxed);
            }
            cpal::ErrorKind::DeviceChanged | cpal::ErrorKind::RealtimeDenied => {}
            cpal::ErrorKind::DeviceNotAvailable | cpal::ErrorKind::StreamInvalidated => {
                state.lost.store(true, Ordering::Relaxed);
            }
            _ => state.troubled.store(watch.now(), Ordering::Relaxed),
        };
        let stream = device.build_output_stream::<T, _, _>(config, fill, trouble, None).ok()?;
        stream.play().ok()?;
        Some(stream)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_device_is_looked_for_soon_and_then_less_and_less_often() {
        let pauses: Vec<u128> = (0..7).map(|in_vain| pause_after(in_vain).as_millis()).collect();
        assert_eq!(pauses, [200, 400, 800, 1_600, 2_000, 2_000, 2_000]);
        assert_eq!(pause_after(u32::MAX), RETRY);
        // Three breaks in a row cost less than the two seconds that one more would.
        assert!(pauses[..3].iter().sum::<u128>() < 2_000);
    }

    #[test]
    fn an_error_that_the_sound_outlives_is_no_loss() {
        const MS: u64 = 1_000_000;
        let state = State::default();
        assert!(state.alive(1_900 * MS, 0), "a pause of the device is waited for");
        assert!(!state.alive(2_000 * MS, 0));
        state.troubled.store(5_010 * MS, Ordering::Relaxed);
        assert!(state.alive(5_200 * MS, 5_000 * MS), "it may pass");
        assert!(!state.alive(5_260 * MS, 5_000 * MS), "it did not");
        assert!(state.alive(5_400 * MS, 5_050 * MS), "the callback has run since");
        state.lost.store(true, Ordering::Relaxed);
        assert!(!state.alive(5_051 * MS, 5_050 * MS));
    }
}
