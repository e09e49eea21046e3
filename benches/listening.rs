//! How long listening takes, stage by stage: decoding, the two ears, the grid with a teacher's taps, and the whole.
//!
//! Run with `cargo bench --bench listening`. The sound is the longest demo recording, repeated to the length needed; what
//! was measured, and on which machine, is in `docs/measurements.md`.

#![allow(missing_docs, reason = "criterion's macros make undocumented functions")]

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use farandole::grid::Anchor;
use farandole::listening::{Ear, Metering, decode, listen};
use farandole::recording::{self, Recording};
use farandole::units::Seconds;
use std::hint::black_box;
use std::ops::ControlFlow;
use std::path::PathBuf;
use std::time::Duration;

/// Samples at once, about as decoders give them.
const PIECE: usize = 8_192;

fn demo() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("assets/demo/march-and-farandole.ogg")
}

/// The demo recording, over and over, for so many minutes.
fn minutes(recording: &Recording, minutes: usize) -> Vec<f32> {
    let length = minutes * 60 * recording.rate.0 as usize * usize::from(recording.channels);
    recording.samples.iter().copied().cycle().take(length).collect()
}

fn ear(samples: &[f32], recording: &Recording) -> Ear {
    let mut ear = Ear::new(recording.channels, recording.rate);
    samples.chunks(PIECE).for_each(|piece| ear.push(piece));
    ear
}

fn stages(criterion: &mut Criterion) {
    let recording = recording::decode(&demo(), &mut |_| {}).expect("the demo is whole");
    let three = minutes(&recording, 3);
    let mut group = criterion.benchmark_group("listening");
    group.sample_size(10).measurement_time(Duration::from_secs(10));

    let seconds = recording.length().0;
    group.throughput(Throughput::Elements(seconds as u64));
    group.bench_function("decode and identify 93 s of Ogg Vorbis", |bencher| {
        bencher.iter(|| {
            let mut samples = 0;
            let known = recording::stream(&demo(), &mut |piece| samples += piece.samples.len(), &mut |_| {});
            (samples, black_box(known).expect("the demo is whole"))
        });
    });

    group.throughput(Throughput::Elements(180));
    group.bench_function("evidence of 3 min", |bencher| {
        bencher.iter(|| ear(black_box(&three), &recording).finish());
    });
    group.bench_function("loudness of 3 min", |bencher| {
        bencher.iter(|| {
            let mut metering = Metering::new(recording.channels, recording.rate);
            black_box(&three).chunks(PIECE).for_each(|piece| metering.push(piece));
            metering.finish()
        });
    });
    group.bench_function("listen to 3 min, decoded", |bencher| {
        bencher.iter(|| {
            let (channels, rate) = (recording.channels, recording.rate);
            listen(black_box(&three), channels, rate, &[], &mut |_| ControlFlow::Continue(()))
        });
    });

    let evidence = ear(&minutes(&recording, 5), &recording).finish();
    let heard = decode(&evidence, &[]);
    // Eight taps along the opening, 30 ms early as people tap.
    let taps: Vec<Anchor> =
        heard.grid.beats().iter().take(8).map(|at| Anchor::Tap { at: Seconds(at.0 - 0.03) }).collect();
    assert_eq!(taps.len(), 8, "the demo has a beat");
    group.throughput(Throughput::Elements(300));
    group.bench_function("grid of 5 min with 8 taps", |bencher| {
        bencher.iter(|| decode(black_box(&evidence), black_box(&taps)));
    });
    group.finish();
}

criterion_group!(benches, stages);
criterion_main!(benches);
