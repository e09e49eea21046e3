use super::*;
use crate::units::Seconds;

const RATE: u32 = 1_000;
const BUFFER: usize = 20;
/// 20 frames at 1 kHz.
const SPAN: u64 = 20_000_000;
const LATENCY: u64 = 40_000_000;

/// A device that takes a buffer of 20 ms every 20 ms and lets it be heard 40 ms later.
struct Bench {
    feed: Feed,
    shared: Arc<Shared>,
    command: Command,
    now: u64,
    out: Vec<f32>,
}

/// Two seconds whose sample at frame `n` is `n + 1`, so that what is played says where it is from.
fn bench(clicks: Vec<Click>) -> Bench {
    let shared = Arc::new(Shared::new());
    let samples: Vec<f32> = (1..=2_000).map(|n| n as f32).collect();
    let prepared = Prepared { samples: samples.into(), channels: 1, rate: RATE };
    let programme = Programme { clicks, ..Programme::default() };
    let feed = Feed::new(Arc::clone(&shared), 1, prepared, &programme);
    Bench { feed, shared, command: Command::START, now: 1_000_000_000, out: Vec::new() }
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
        (command.repeat_from, command.repeat_to) = (100_000_000, 150_000_000);
    });
    bench.run(20);
    let steady: Vec<i64> = bench.out[10..].iter().map(|sample| *sample as i64 - 1).collect();
    let frame = |n: i64| if n < 150 { n } else { 100 + (n - 100) % 50 };
    assert_eq!(steady, (10..400).map(frame).collect::<Vec<_>>());
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
fn outside_the_recording_is_silence() {
    let mut bench = bench(vec![]);
    bench.ask(|command| (command.playing, command.place, command.time) = (true, 5_000_000_000, u64::MAX));
    bench.run(4);
    assert!(bench.out.iter().all(|sample| *sample == 0.0));
}
