//! Beats in a Standard MIDI File (MIDI 1.0, RP-001): those of its tempo map, laid beside the recording with both
//! beginning at zero.

use super::{Form, GoingOn, Incoming, MOST, Mark, Refusal, gathered};
use midly::{Format, MetaMessage, MidiMessage, Smf, Timing, TrackEventKind};

/// The marker on the first beat in a file of our own: what comes before it only fills the time up to there.
const FIRST_BEAT: &str = "first beat";
/// The marker on the first bar in a file of our own: what comes before it has bars of one beat, which are none.
const FIRST_BAR: &str = "first bar";
/// The marker on a beat of several quarter notes in a file of our own: a beat held for longer than a tempo can say.
const HELD: &str = "held beat: ";
/// MIDI clocks in a quarter note, and what most programs write as the length of a click, whatever they mean.
const CLOCKS: u32 = 24;
/// The tempo before any is given: 120 quarter notes a minute.
const USUAL: u32 = 500_000;

/// The MIDI file in some bytes, if they begin like one; it may stand in a RIFF container.
pub(super) fn inside(bytes: &[u8]) -> Option<&[u8]> {
    match bytes {
        [b'M', b'T', b'h', b'd', ..] => Some(bytes),
        [
            b'R',
            b'I',
            b'F',
            b'F',
            _,
            _,
            _,
            _,
            b'R',
            b'M',
            b'I',
            b'D',
            b'd',
            b'a',
            b't',
            b'a',
            _,
            _,
            _,
            _,
            song @ ..,
        ] => Some(song),
        _ => None,
    }
}

/// What is asked of the file, each list by tick.
#[derive(Default)]
struct Events {
    /// Tick and microseconds in a quarter note.
    tempi: Vec<(u64, u32)>,
    /// Tick, beats in a bar, and ticks in a beat.
    signatures: Vec<(u64, u64, f64)>,
    /// Tick and words.
    markers: Vec<(u64, String)>,
    /// Ticks at which beats of several quarter notes begin and end.
    held: Vec<(f64, f64)>,
    end: u64,
    notes: bool,
}

impl Events {
    /// Reads the markers on held beats.
    fn find_held(&mut self, quarter: f64) {
        let held = self.markers.iter().filter_map(|(tick, words)| {
            let quarters = words.strip_prefix(HELD)?.split(' ').next()?.parse::<u32>().ok()?;
            Some((*tick as f64, *tick as f64 + f64::from(quarters) * quarter))
        });
        self.held = held.collect();
    }
}

/// Reads the beats of the tempo map.
pub(super) fn read(bytes: &[u8]) -> Result<Incoming, Refusal> {
    let song = Smf::parse(bytes).map_err(|_| Refusal::NotMidi)?;
    if song.header.format == Format::Sequential {
        return Err(Refusal::SeveralSongs);
    }
    let Timing::Metrical(quarter) = song.header.timing else { return Err(Refusal::TimeCode) };
    let quarter = u64::from(quarter.as_int()).max(1);
    let events = events(&song, quarter as f64);
    let mut events = events;
    events.find_held(quarter as f64);
    let marked = |what: &str| events.markers.iter().find(|(_, words)| words == what).map(|(tick, _)| *tick);
    let ours = marked(FIRST_BEAT);
    let first_bar = if ours.is_some() { marked(FIRST_BAR).unwrap_or(u64::MAX) } else { 0 };
    let clock = Clock::new(&events.tempi, quarter as f64);
    let mut marks: Vec<Mark> = Vec::new();
    let mut signatures = events.signatures.clone();
    if signatures.first().is_none_or(|first| first.0 > 0) {
        // Four quarter notes by the standard, but then nobody has said so, and bars are better heard.
        signatures.insert(0, (0, 0, quarter as f64));
    }
    for (index, &(from, beats, length)) in signatures.iter().enumerate() {
        let to = signatures.get(index + 1).map_or(events.end, |next| next.0.min(events.end));
        for beat in 0u64.. {
            let tick = from as f64 + beat as f64 * length;
            if tick >= to as f64 {
                break;
            }
            if marks.len() > MOST {
                return Err(Refusal::TooMany { beats: marks.len() });
            }
            if ours.is_some_and(|first| tick < first as f64) {
                continue;
            }
            if ours.is_some() && events.held.iter().any(|&(from, to)| from < tick && tick < to) {
                continue;
            }
            let bar = (beats > 0 && tick >= first_bar as f64).then(|| beat % beats == 0);
            let phrase = ours.and_then(|_| phrase_at(&events.markers, tick));
            marks.push(Mark { at: clock.seconds(tick), bar, phrase });
        }
    }
    let last = signatures.last().copied();
    let mut incoming = gathered(Form::Midi, marks, Vec::new())?;
    if let Some((from, beats, length)) = last.filter(|_| !events.notes) {
        // A map of the tempo alone has no end of its own: the last tempo goes on.
        let next = from as f64 + (events.end.saturating_sub(from) as f64 / length).ceil() * length;
        incoming.open = Some(GoingOn {
            next: clock.seconds(next),
            beat: clock.last() * length / quarter as f64,
            bar: (beats > 0).then_some(beats as usize),
        });
    }
    Ok(incoming)
}

fn events(song: &Smf<'_>, quarter: f64) -> Events {
    let mut found = Events::default();
    for track in &song.tracks {
        let mut tick = 0u64;
        for event in track {
            tick += u64::from(event.delta.as_int());
            match event.kind {
                TrackEventKind::Meta(MetaMessage::Tempo(length)) => found.tempi.push((tick, length.as_int())),
                TrackEventKind::Meta(MetaMessage::TimeSignature(beats, power, clocks, _)) => {
                    let (beats, length) = beat_of(beats, power, clocks);
                    found.signatures.push((tick, beats, length * quarter));
                }
                TrackEventKind::Meta(MetaMessage::Marker(words)) => {
                    found.markers.push((tick, String::from_utf8_lossy(words).into_owned()));
                }
                TrackEventKind::Midi { message: MidiMessage::NoteOn { vel, .. }, .. } if vel > 0 => {
                    found.notes = true;
                }
                _ => {}
            }
        }
        found.end = found.end.max(tick);
    }
    // Stable, so that of several at one tick the last written counts.
    found.tempi.sort_by_key(|tempo| tempo.0);
    found.signatures.sort_by_key(|signature| signature.0);
    found.signatures.reverse();
    found.signatures.dedup_by_key(|signature| signature.0);
    found.signatures.reverse();
    found
}

/// Beats in a bar and quarter notes in a beat. The length of the click says it where it is not what everyone writes; else
/// sixes, nines and twelves of eighths or shorter are counted in threes, and all others in the notes below the line.
/// Our decision, after the field that RP-001 has for it.
fn beat_of(beats: u8, power: u8, clocks: u8) -> (u64, f64) {
    let below = 4.0 / f64::from(power.min(7)).exp2();
    let bar = f64::from(beats.max(1)) * below;
    let click = f64::from(clocks) / f64::from(CLOCKS);
    let whole = bar / click;
    if u32::from(clocks) != CLOCKS && clocks > 0 && whole >= 1.0 && whole.fract() == 0.0 {
        return (whole as u64, click);
    }
    if power >= 3 && beats > 3 && beats.is_multiple_of(3) {
        return (u64::from(beats / 3), 3.0 * below);
    }
    (u64::from(beats.max(1)), below)
}

/// The letter of the phrase that begins at a tick: the marker `phrase 3 (B)` of our own files.
fn phrase_at(markers: &[(u64, String)], tick: f64) -> Option<String> {
    let here = markers.iter().filter(|(at, _)| (*at as f64 - tick).abs() < 0.5);
    here.filter_map(|(_, words)| {
        let (number, letter) = words.strip_prefix("phrase ")?.split_once(" (")?;
        number.parse::<usize>().ok()?;
        Some(letter.strip_suffix(')')?.to_owned())
    })
    .next()
}

/// From ticks to seconds.
struct Clock {
    /// Tick, seconds there, and seconds a tick from there on.
    turns: Vec<(f64, f64, f64)>,
    quarter: f64,
}

impl Clock {
    fn new(tempi: &[(u64, u32)], quarter: f64) -> Self {
        let pace = |length: u32| f64::from(length.max(1)) / 1e6 / quarter;
        let mut turns = vec![(0.0, 0.0, pace(USUAL))];
        for &(tick, length) in tempi {
            let &(from, at, slow) = turns.last().unwrap_or(&(0.0, 0.0, pace(USUAL)));
            let tick = tick as f64;
            turns.push((tick, at + (tick - from) * slow, pace(length)));
        }
        Self { turns, quarter }
    }

    fn seconds(&self, tick: f64) -> f64 {
        let after = self.turns.partition_point(|turn| turn.0 <= tick);
        let (from, at, pace) = self.turns[after.saturating_sub(1)];
        at + (tick - from) * pace
    }

    /// Seconds in a quarter note at the end.
    fn last(&self) -> f64 {
        self.turns.last().map_or(0.5, |turn| turn.2 * self.quarter)
    }
}
