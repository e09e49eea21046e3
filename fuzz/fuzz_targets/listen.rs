//! Any bytes, decoded as a recording and listened to.
#![no_main]

use farandole::listening::{Listener, Listening};
use farandole::recording::{decoding_is_guarded, stream_from};
use libfuzzer_sys::fuzz_target;
use std::io::Cursor;
use std::panic;
use std::sync::Once;

/// Seconds listened to at most: a few bytes can stand for an hour of silence.
const SECONDS: u64 = 20;

/// The fuzzer ends at every panic, but a decoder's panic on damage is caught and told as damage.
fn let_decoders_panic() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        let end = panic::take_hook();
        panic::set_hook(Box::new(move |about| {
            if !decoding_is_guarded() {
                end(about);
            }
        }));
    });
}

fuzz_target!(|bytes: &[u8]| {
    let_decoders_panic();
    let mut listener: Option<(Listener, u64)> = None;
    let source = Box::new(Cursor::new(bytes.to_vec()));
    let known = stream_from(
        source,
        "fuzz",
        &mut |piece| {
            assert!(piece.samples.iter().all(|sample| sample.is_finite()));
            let limit = SECONDS * u64::from(piece.rate.0) * u64::from(piece.channels);
            let (listener, taken) =
                listener.get_or_insert_with(|| (Listener::new(piece.channels, piece.rate), 0));
            if *taken < limit {
                *taken += piece.samples.len() as u64;
                listener.push(piece.samples);
            }
        },
        &mut |_| {},
    );
    let (Ok(_), Some((listener, _))) = (known, listener) else { return };
    let (heard, _) = listener.finish(&[]);
    let json = serde_json::to_string(&heard).expect("plain data");
    let back: Listening = serde_json::from_str(&json).expect("every number is one");
    assert_eq!(back, heard);
});
