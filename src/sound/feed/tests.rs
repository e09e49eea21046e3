use super::*;
use crate::sound::Click;
use crate::sound::handover::{Giving, handover};
use crate::units::Seconds;

const RATE: u32 = 1_000;
const BUFFER: usize = 20;
/// 20 frames at 1 kHz.
const SPAN: u64 = 20_000_000;
const LATENCY: u64 = 40_000_000;

/// A device that takes a buffer of 20 ms every 20 ms and lets it be heard 40 ms later.
struct Bench {
    feed: Feed,
    giving: Giving,
    shared: Arc<Shared>,
    command: Command,
    now: u64,
    out: Vec<f32>,
}

/// Two seconds whose sample at frame `n` is `n + 1`, so that what is played says where it is from.
fn bench(clicks: Vec<Click>) -> Bench {
    let samples: Vec<f32> = (1..=2_000).map(|n| n as f32).collect();
    bench_of(Prepared::new(samples.into(), 1, RATE), clicks)
}

fn bench_of(prepared: Prepared, clicks: Vec<Click>) -> Bench {
    let shared = Arc::new(Shared::new());
    let programme = Programme { clicks, ..Programme::default() };
    let (giving, others) = handover();
    let feed = Feed::new(Arc::clone(&shared), 1, prepared, &programme, others);
    Bench { feed, giving, shared, command: Command::START, now: 1_000_000_000, out: Vec::new() }
}

impl Bench {
    fn ask(&mut self, change: impl FnOnce(&mut Command)) {
        change(&mut self.command);
        self.shared.command.publish(self.command.words());
    }

    fn run(&mut self, buffers: usize) {
        for _ in 0..buffers {
            let mut out = [0.0; BUFFER];
            self.feed.fill(BUFFER, self.now, LATENCY, |frame, left, _| out[frame] = left);
            self.out.extend(out);
            self.now += SPAN;
        }
    }

    /// The place heard at `time`, in frames.
    fn place(&self, time: u64) -> i64 {
        Report::from_words(self.shared.report.read().expect("one thread")).place_at(time) / 1_000_000
    }
}

#[test]
fn what_is_said_to_be_heard_is_what_was_played() {
    let mut bench = bench(vec![]);
    let begin = bench.now;
    bench.ask(|command| (command.playing, command.time) = (true, begin));
    bench.run(10);
    // It joins where the clock will be when the first buffer is heard: 40 ms on.
    assert_eq!(bench.out[10], 51.0, "frame 50 is tenth in the first buffer");
    // The frame that leaves the loudspeaker at a time is the one that is said to be heard.
    for ms in [100, 140, 180] {
        let sent = bench.out[usize::try_from(ms).expect("small") - 40] - 1.0;
        assert_eq!(bench.place(begin + ms * 1_000_000), sent as i64);
    }
}

#[test]
fn a_jump_and_a_pause_fade_and_say_so() {
    let mut bench = bench(vec![]);
    let begin = bench.now;
    bench.ask(|command| (command.playing, command.time) = (true, begin));
    bench.run(5);
    bench.ask(|command| (command.jump, command.place) = (1, 1_000_000_000));
    let asked = bench.now;
    bench.run(3);
    assert!(bench.out.contains(&1_010.0), "the sound goes on at 1 s");
    assert_eq!(bench.place(asked + 20_000_000), 1_000, "held until its sound arrives");
    bench.ask(|command| command.playing = false);
    bench.run(3);
    assert_eq!(bench.out.last(), Some(&0.0));
    let stood = bench.place(bench.now + 1_000_000_000);
    bench.run(50);
    assert_eq!(bench.place(bench.now), stood, "a pause does not creep");
    let loudest = bench.out.iter().fold(0.0_f32, |a, b| a.max(*b));
    // Its loudest sample is the last before the fade, frame `loudest - 1`; three fading frames follow.
    assert_eq!(stood, loudest as i64 + 3);
}

#[test]
fn a_repeat_has_no_gap() {
    let mut bench = bench(vec![]);
    bench.ask(|command| {
        command.playing = true;
        command.time = 1_000_000_000 + LATENCY;
        (command.repeat_from, command.repeat_to) = (100_000_000, 250_000_000);
    });
    bench.run(30);
    let frame = |n: i64| if n < 250 { n } else { 100 + (n - 100) % 150 };
    // Up to two blocks before the end of the span are the bridge to its beginning.
    let bridge = |n: i64| n >= 100 && (n - 100) % 150 >= 110;
    for n in (10..600).filter(|n| !bridge(*n)) {
        assert_eq!(bench.out[n as usize] as i64 - 1, frame(n), "frame {n}");
    }
    let largest = bench.out[10..].windows(2).map(|pair| (pair[1] - pair[0]).abs()).fold(0.0, f32::max);
    assert!(largest < 15.0, "no step as the one from 250 to 101: {largest}");
    // And it is there that it is said to be.
    let end = i64::try_from(bench.now + LATENCY - 1_000_000_000 - LATENCY).expect("small") / 1_000_000;
    for ms in (end - 140..end).step_by(7) {
        let time = 1_000_000_000 + LATENCY + ms.cast_unsigned() * 1_000_000;
        assert_eq!(bench.place(time), frame(ms), "at {ms} ms");
    }
}

#[test]
fn clicks_fall_on_their_frame_and_count_ins_always_sound() {
    let click = |at, always| Click { at: Seconds(at), high: false, always };
    let mut bench = bench(vec![click(-0.1, true), click(-0.05, false)]);
    bench.ask(|command| {
        command.playing = true;
        (command.place, command.time) = (-200_000_000, 1_000_000_000 + LATENCY);
    });
    bench.run(12);
    let first = bench.out.iter().position(|sample| *sample != 0.0);
    assert_eq!(first, Some(100), "100 ms after the start at -200 ms");
    assert_eq!(bench.out[150], 0.0, "clicks on the beat are off");
}

#[test]
fn clicks_go_with_beats_that_were_corrected_while_it_plays() {
    let beats = |from: f64, step: f64| -> Vec<Click> {
        let at = (0..40).map(|i| Seconds(from + step * f64::from(i)));
        at.map(|at| Click { at, high: false, always: false }).collect()
    };
    let mut bench = bench_of(Prepared::silence(48_000), beats(0.25, 0.5));
    bench.ask(|command| command.clicks = true);
    play(&mut bench, Speed::NORMAL, 2.0);
    // Others and others again before the device could take the first: the last word counts.
    bench.giving.give(placed(&beats(0.37, 0.25), 48_000));
    bench.giving.give(placed(&beats(0.125, 0.25), 48_000));
    bench.giving.give(placed(&beats(2.6, 1.0), 48_000));
    play(&mut bench, Speed::NORMAL, 0.02);
    bench.giving.tend();
    play(&mut bench, Speed::NORMAL, 1.98);
    let found = strokes(&bench.out, 48_000.0);
    let due = [0.25, 0.75, 1.25, 1.75, 2.6, 3.6];
    assert_eq!(found.len(), due.len(), "{found:?}");
    assert!(found.iter().zip(due).all(|(found, due)| (found - due).abs() < 0.000_1), "{found:?}");
}

#[test]
fn outside_the_recording_is_silence() {
    let mut bench = bench(vec![]);
    bench.ask(|command| (command.playing, command.place, command.time) = (true, 5_000_000_000, u64::MAX));
    bench.run(4);
    assert!(bench.out.iter().all(|sample| *sample == 0.0));
}

/// A pseudo-random number from -1 to 1: a linear congruential generator (Numerical Recipes).
fn noise(state: &mut u32) -> f32 {
    *state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
    (f64::from(*state) / f64::from(u32::MAX) * 2.0 - 1.0) as f32
}

/// At 48 kHz: notes of a plucked kind at the given times, over a soft chord.
fn plucked(times: &[f64], seconds: f64) -> Prepared {
    let mut samples = vec![0.0f32; (seconds * 48_000.0) as usize];
    for (frame, sample) in samples.iter_mut().enumerate() {
        let t = frame as f64 / 48_000.0;
        let tones: f64 = [110.0, 165.4, 220.7].iter().map(|f| (std::f64::consts::TAU * f * t).sin()).sum();
        *sample = (0.01 * tones) as f32;
    }
    let mut state = 7;
    for (index, &time) in times.iter().enumerate() {
        let from = (time * 48_000.0).round() as usize;
        let pitch = 220.0 * 2f64.powf((index * 5 % 24) as f64 / 12.0);
        for n in 0..14_400.min(samples.len() - from) {
            let t = n as f64 / 48_000.0;
            let tone = (std::f64::consts::TAU * pitch * t).sin() * (-9.0 * t).exp();
            let stroke = f64::from(noise(&mut state)) * (-600.0 * t).exp();
            samples[from + n] += (0.2 * tone + 0.4 * stroke) as f32;
        }
    }
    Prepared::new(samples.into(), 1, 48_000)
}

/// Where strokes are heard: the loudest sample of each time the level of the first difference leaves the ground.
fn strokes(out: &[f32], rate: f64) -> Vec<f64> {
    let mut found: Vec<(usize, f32)> = Vec::new();
    for (index, pair) in out.windows(2).enumerate() {
        let step = (pair[1] - pair[0]).abs();
        if step > 0.15 {
            match found.last_mut() {
                Some(last) if (index - last.0) as f64 / rate < 0.012 => {}
                _ => found.push((index, step)),
            }
        }
    }
    found.into_iter().map(|(index, _)| index as f64 / rate).collect()
}

fn play(bench: &mut Bench, speed: Speed, seconds: f64) {
    let begin = bench.now;
    bench.ask(|command| {
        (command.playing, command.speed) = (true, speed);
        command.time = begin + LATENCY;
    });
    let buffer = 480;
    for _ in 0..(seconds * 48_000.0) as usize / buffer {
        let mut out = vec![0.0; buffer];
        bench.feed.fill(buffer, bench.now, LATENCY, |frame, left, _| out[frame] = left);
        bench.out.extend(out);
        bench.now += 10_000_000;
    }
}

#[test]
fn at_every_speed_each_note_is_heard_once_and_in_its_place() {
    let times: Vec<f64> = (0..40).map(|i| 0.3 + 0.2 * f64::from(i) + 0.03 * f64::from(i % 3)).collect();
    for percent in [50, 63, 75, 90, 97, 103, 110] {
        let speed = Speed::percent(percent);
        let mut bench = bench_of(plucked(&times, 9.0), vec![]);
        play(&mut bench, speed, 8.2 / speed.factor());
        let found = strokes(&bench.out, 48_000.0);
        let due: Vec<f64> = times.iter().map(|time| time / speed.factor()).collect();
        assert_eq!(found.len(), due.len(), "at {percent} %");
        let worst = found.iter().zip(&due).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
        assert!(worst < 0.005, "at {percent} %: {:.1} ms", 1e3 * worst);
    }
}

#[test]
fn at_every_speed_the_pitch_is_the_recordings() {
    // A tone's periods are counted where it crosses zero. 41.2 Hz is the double bass's lowest string.
    for pitch in [41.2, 110.0, 440.0, 1_318.5] {
        let samples: Vec<f32> = (0..48_000 * 6)
            .map(|n| (0.3 * (std::f64::consts::TAU * pitch * f64::from(n) / 48_000.0).sin()) as f32)
            .collect();
        for percent in [50, 70, 90, 110] {
            let mut bench = bench_of(Prepared::new(samples.clone().into(), 1, 48_000), vec![]);
            play(&mut bench, Speed::percent(percent), 5.0);
            let out = &bench.out[4_800..];
            let up: Vec<f64> = (1..out.len())
                .filter(|&i| out[i - 1] < 0.0 && out[i] >= 0.0)
                .map(|i| i as f64 - f64::from(out[i] / (out[i] - out[i - 1])))
                .collect();
            let heard = (up.len() - 1) as f64 * 48_000.0 / (up[up.len() - 1] - up[0]);
            let cents = 1_200.0 * (heard / pitch).log2();
            assert!(cents.abs() < 3.0, "{pitch} Hz at {percent} %: {cents:.1} cents off");
        }
    }
}

#[test]
fn clicks_keep_to_the_music_at_every_speed() {
    let beats: Vec<Click> = (0..16)
        .map(|i| Click { at: Seconds(0.25 + 0.5 * f64::from(i)), high: i % 4 == 0, always: false })
        .collect();
    for percent in [50, 80, 110] {
        let speed = Speed::percent(percent);
        let mut bench = bench_of(Prepared::silence(48_000), beats.clone());
        bench.ask(|command| command.clicks = true);
        play(&mut bench, speed, 8.0 / speed.factor());
        let found = strokes(&bench.out, 48_000.0);
        assert_eq!(found.len(), beats.len(), "at {percent} %");
        for (found, beat) in found.iter().zip(&beats) {
            assert!((found - beat.at.0 / speed.factor()).abs() < 0.000_1, "at {percent} %");
        }
    }
}

#[test]
fn a_phrase_goes_round_at_any_speed_and_its_first_note_is_whole() {
    let times = [0.5, 1.0, 1.5, 2.0, 2.5];
    for percent in [60, 85, 100, 110] {
        let speed = Speed::percent(percent);
        let mut bench = bench_of(plucked(&times, 4.0), vec![]);
        bench.ask(|command| (command.repeat_from, command.repeat_to) = (500_000_000, 2_000_000_000));
        play(&mut bench, speed, 5.7 / speed.factor());
        // 0.5, 1.0 and 1.5 s, again and again: every half second of music, and 2.0 s never comes.
        let due: Vec<f64> = (0..11).map(|i| (0.5 + 0.5 * f64::from(i)) / speed.factor()).collect();
        let found = strokes(&bench.out, 48_000.0);
        assert_eq!(found.len(), due.len(), "at {percent} %: {found:?}");
        let worst = found.iter().zip(&due).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
        assert!(worst < 0.005, "at {percent} %: {:.1} ms", 1e3 * worst);
        // The place that is said to be heard goes round with it.
        let end = bench.now + LATENCY;
        let said = bench.place(end) as f64 / 1_000.0;
        let played = bench.out.len() as f64 / 48_000.0 * speed.factor();
        let expected = 0.5 + (played - 0.5) % 1.5;
        assert!((said - expected).abs() < 0.003, "at {percent} %: {said} instead of {expected}");
    }
}

#[test]
fn a_change_of_speed_does_not_crack() {
    let samples: Vec<f32> = (0..48_000 * 4).map(|n| (0.3 * (n as f64 * 0.0288).sin()) as f32).collect();
    let mut bench = bench_of(Prepared::new(samples.into(), 1, 48_000), vec![]);
    for percent in [100, 70, 100, 110, 50, 100] {
        bench.ask(|command| command.speed = Speed::percent(percent));
        let buffer = 480;
        if percent == 100 && bench.out.is_empty() {
            play(&mut bench, Speed::NORMAL, 0.3);
        }
        for _ in 0..30 {
            let mut out = vec![0.0; buffer];
            bench.feed.fill(buffer, bench.now, LATENCY, |frame, left, _| out[frame] = left);
            bench.out.extend(out);
            bench.now += 10_000_000;
        }
    }
    // A tone of 220 Hz and 0.3 moves by at most 0.0087 from sample to sample.
    let largest = bench.out[480..].windows(2).map(|pair| (pair[1] - pair[0]).abs()).fold(0.0, f32::max);
    assert!(largest < 0.02, "{largest}");
}

#[test]
fn the_callback_allocates_and_frees_nothing() {
    let times: Vec<f64> = (0..40).map(|i| 0.3 + 0.2 * f64::from(i)).collect();
    let clicks: Vec<Click> =
        times.iter().map(|&at| Click { at: Seconds(at), high: false, always: false }).collect();
    let mut bench = bench_of(plucked(&times, 9.0), clicks.clone());
    let mut out = [0.0f32; 480];
    let counted = allocation_counter::measure(|| {
        for buffer in 0..600u64 {
            // Everything that can be asked for, in turn and together.
            bench.ask(|command| {
                command.playing = buffer % 97 != 0;
                command.speed = Speed::percent([100, 50, 85, 110][(buffer / 40 % 4) as usize]);
                command.clicks = buffer % 3 == 0;
                if buffer % 50 == 49 {
                    command.jump += 1;
                    command.place = (buffer as i64 % 7) * 1_000_000_000;
                }
                let span = buffer / 100 % 2 == 1;
                command.repeat_from = if span { 1_000_000_000 } else { NOWHERE };
                command.repeat_to = 1_700_000_000;
            });
            bench.feed.fill(480, bench.now, LATENCY, |frame, left, _| out[frame] = left);
            bench.now += 10_000_000;
        }
    });
    assert_eq!((counted.count_total, counted.count_current), (0, 0), "{counted:?}");
    for _ in 0..3 {
        // Made and freed outside; taken and handed out inside.
        bench.giving.give(placed(&clicks, 48_000));
        let before = bench.feed.clicks.as_ptr();
        let counted = allocation_counter::measure(|| {
            bench.feed.fill(480, bench.now, LATENCY, |frame, left, _| out[frame] = left);
        });
        assert_eq!((counted.count_total, counted.count_current), (0, 0), "{counted:?}");
        assert_ne!(bench.feed.clicks.as_ptr(), before, "the others were taken");
        bench.giving.tend();
    }
    let one = allocation_counter::measure(|| {
        std::hint::black_box(Vec::<u8>::with_capacity(std::hint::black_box(64)));
    });
    assert_eq!(one.count_total, 1, "the counter counts");
}

#[test]
fn the_callback_knows_no_lock_no_file_and_no_voice() {
    // All that runs inside it; `output.rs` calls it and touches the device's buffer besides.
    let taking = include_str!("../handover.rs").split("impl Taking").nth(1).expect("its callback's half");
    assert!(!taking.contains(".recv(") && !taking.contains(".send("), "it tries and never waits");
    for (name, code) in [
        ("feed.rs", include_str!("../feed.rs")),
        ("stretch.rs", include_str!("../stretch.rs")),
        ("handover.rs", taking),
        ("published.rs", include_str!("../published.rs").split("#[cfg(test)]").next().expect("code")),
    ] {
        for word in [
            "Mutex", "RwLock", "Condvar", "channel(", "std::fs", "std::io", "File", "print", "sleep",
            "Instant",
        ] {
            let said = code
                .lines()
                .filter(|line| !line.trim_start().starts_with("//"))
                .any(|line| line.contains(word));
            assert!(!said, "'{name}' mentions '{word}'");
        }
    }
}
