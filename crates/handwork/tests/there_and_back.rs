//! What was changed by hand and then set back leaves no mark; what was written is read back as it was.
#![allow(missing_docs, clippy::unwrap_used)]

use ripieno_formats::midi::{MidiEvent, MidiEvents, MidiTrack, Tick};
use ripieno_handwork::{
    Axis, AxisBar, Mark, NoteName, Sounded, What, Who, Written, WrittenNote, WrittenTrack, adopt, apply,
    beats_of, likeness, restore, store,
};
use ripieno_units::Beats;

const QUARTER: i64 = 3840;

/// A chair with eight quarter notes and a controller at each.
fn written() -> Written {
    let bars = (0..2).map(|i| AxisBar {
        number: 1 + i,
        at: Beats::new(4 * i64::from(i), 1),
        unit: Beats::new(1, 1),
    });
    let axis = Axis { passages: vec![("A, \"slow\"".into(), Beats::ZERO)], bars: bars.collect() };
    let note = |i: i64| {
        let now = Sounded {
            on: i * QUARTER,
            key: 60 + i as u8,
            channel: 2,
            velocity: 64,
            off: i * QUARTER + QUARTER / 2,
        };
        let who = Who::Computed(NoteName { at: beats_of(now.on), key: now.key, ordinal: 1 });
        WrittenNote { now, computed: now, who, sent: true, used: String::new() }
    };
    let told =
        |i: i64| (i * QUARTER, MidiEvent::Controller { channel: 2, number: 11, value: 40 + 5 * i as u8 });
    let rest: Vec<_> = (0..8).map(told).collect();
    let track = WrittenTrack {
        chair: "oboe".into(),
        card: 1,
        name: "Oboe".into(),
        notes: (0..8).map(note).collect(),
        computed: rest.clone(),
        rest,
        ..WrittenTrack::default()
    };
    Written { lead: 0, tempi: vec![(0, 500_000)], axis, tracks: vec![track] }
}

fn file(written: &Written) -> MidiEvents {
    let track = &written.tracks[0];
    let events = track.events().into_iter().map(|(at, e)| (at as u64, e)).collect();
    MidiEvents {
        tick: Tick::OfQuarter(QUARTER as u16),
        tracks: vec![MidiTrack { name: track.name.clone(), events, ..MidiTrack::default() }],
    }
}

/// Marks put onto what was computed.
fn with(marks: &[Mark]) -> Written {
    let mut out = written();
    apply(&mut out.tracks, &out.axis.clone(), 0, marks);
    out
}

fn taken(base: &Written, came: &Written, marks: &[Mark]) -> Vec<Mark> {
    adopt(base, &file(came), marks, &|_, _| Vec::new()).marks
}

fn drawn(written: &mut Written, which: std::ops::Range<usize>, value: u8) {
    for (_, event) in &mut written.tracks[0].rest[which] {
        *event = MidiEvent::Controller { channel: 2, number: 11, value };
    }
}

#[test]
fn a_curve_set_back_to_what_is_computed_leaves_no_mark() {
    let mut came = written();
    drawn(&mut came, 2..4, 9);
    let marks = taken(&written(), &came, &[]);
    assert!(matches!(&marks[..], [Mark { what: What::Curve { .. }, .. }]), "{marks:?}");
    let now = with(&marks);
    assert_eq!(now.tracks[0].rest, came.tracks[0].rest);
    assert_eq!(taken(&now, &now, &marks), marks);
    assert_eq!(taken(&now, &written(), &marks), []);
    // Half of it set back: the other half stays.
    let mut half = written();
    drawn(&mut half, 3..4, 9);
    let left = taken(&now, &half, &marks);
    assert_eq!(left.len(), 1);
    assert_eq!(with(&left).tracks[0].rest, half.tracks[0].rest);
    // Drawn once more, further: one mark, not two.
    let mut more = written();
    drawn(&mut more, 1..4, 12);
    let more_marks = taken(&now, &more, &marks);
    assert_eq!(more_marks.len(), 1, "{more_marks:?}");
    assert_eq!(with(&more_marks).tracks[0].rest, more.tracks[0].rest);
}

#[test]
fn a_silent_note_that_is_put_back_is_that_note() {
    let mut came = written();
    came.tracks[0].notes[3].sent = false;
    let marks = taken(&written(), &came, &[]);
    assert!(matches!(&marks[..], [Mark { what: What::Silent { key: 63, .. }, .. }]), "{marks:?}");
    assert_eq!(taken(&with(&marks), &written(), &marks), []);
    let mut louder = written();
    louder.tracks[0].notes[3].now.velocity = 99;
    let again = taken(&with(&marks), &louder, &marks);
    assert!(matches!(&again[..], [Mark { what: What::Note { velocity: Some(99), .. }, .. }]), "{again:?}");
}

#[test]
fn the_same_file_twice_is_no_second_change() {
    let mut came = written();
    let mut extra = came.tracks[0].notes[5].clone();
    extra.now = Sounded { key: 72, ..extra.now };
    extra.who = Who::Added(0);
    came.tracks[0].notes.push(extra);
    came.tracks[0].notes[1].now.off += 500;
    let marks = taken(&written(), &came, &[]);
    assert_eq!(marks.len(), 2, "{marks:?}");
    assert_eq!(taken(&written(), &came, &marks), marks);
    let after = adopt(&written(), &file(&came), &[], &|_, _| Vec::new()).after;
    assert_eq!(adopt(&after, &file(&came), &marks, &|_, _| Vec::new()).differences, 0);
}

#[test]
fn what_was_written_is_read_back() {
    let mut all = written();
    all.tracks[0].notes[2].now.on += 7;
    all.tracks[0].notes[3].who = Who::Call;
    all.tracks[0].notes[4].who = Who::Added(9);
    all.tracks[0].call_keys = vec![24, 25];
    assert_eq!(restore(&store(&all)), Some(all.clone()));
    drawn(&mut all, 0..2, 3);
    let text = store(&all);
    assert_eq!(restore(&text), Some(all));
    // Cut short anywhere it is none, and no panic.
    for end in (0..text.len() - 4).step_by(7) {
        assert_eq!(restore(&text[..end]), None);
    }
}

/// Players of one key at nearly one time, in one track on a grid of 8 ticks: the file says in which order they stand no more.
#[test]
fn a_unison_on_a_coarser_grid_is_no_change() {
    let ons = [486_693, 486_694, 486_698, 486_699];
    let of_velocities = |all: [u8; 4]| {
        let mut base = written();
        base.tracks[0].notes.truncate(4);
        for ((note, on), velocity) in base.tracks[0].notes.iter_mut().zip(ons).zip(all) {
            note.now = Sounded { on, key: 64, channel: 2, velocity, off: 487_601 };
            note.computed = note.now;
        }
        base
    };
    let four = [66, 68, 71, 74];
    let mut orders = Vec::new();
    for a in four {
        for b in four {
            for c in four {
                let left: Vec<u8> = four.into_iter().filter(|v| ![a, b, c].contains(v)).collect();
                orders.extend((left.len() == 1).then(|| [a, b, c, left[0]]));
            }
        }
    }
    assert_eq!(orders.len(), 24);
    for order in orders {
        let base = of_velocities(order);
        let events = (0..4).flat_map(|i| {
            let velocity = four[i];
            let on = MidiEvent::NoteOn { channel: 2, key: 64, velocity };
            [(486_696 / 8, on), (487_600 / 8, MidiEvent::NoteOff { channel: 2, key: 64, velocity: 0 })]
        });
        let mut events: Vec<_> = events.collect();
        events.extend(base.tracks[0].rest.iter().map(|(at, e)| (*at as u64 / 8, e.clone())));
        events.sort_by_key(|e| e.0);
        let track = MidiTrack { name: "Oboe".into(), events, ..MidiTrack::default() };
        let came = MidiEvents { tick: Tick::OfQuarter(480), tracks: vec![track] };
        let found = adopt(&base, &came, &[], &|_, _| Vec::new()).marks;
        assert_eq!(found, [], "{order:?}");
    }
}

/// One chair's track on a grid of 8 ticks: notes as start, end, key, velocity.
fn on_a_grid(base: &Written, notes: &[(i64, i64, u8, u8)]) -> MidiEvents {
    let grid = |t: i64| ((t + 4) / 8) as u64;
    let events = notes.iter().flat_map(|(on, off, key, velocity)| {
        let (channel, key, velocity) = (2, *key, *velocity);
        [
            (grid(*on), MidiEvent::NoteOn { channel, key, velocity }),
            (grid(*off), MidiEvent::NoteOff { channel, key, velocity: 0 }),
        ]
    });
    let mut events: Vec<_> = events.collect();
    events.extend(base.tracks[0].rest.iter().map(|(at, e)| (grid(*at), e.clone())));
    events.sort_by_key(|e| e.0);
    let track = MidiTrack { name: "Oboe".into(), events, ..MidiTrack::default() };
    MidiEvents { tick: Tick::OfQuarter(480), tracks: vec![track] }
}

#[test]
fn a_note_moved_by_little_more_than_the_grid_keeps_its_length() {
    let mut base = written();
    // Its beginning lies between places of the grid: moved by 12 ticks it is 13 off, and its end 8.
    let note = &mut base.tracks[0].notes[3];
    note.now.on += 5;
    note.computed = note.now;
    let length = note.now.off - note.now.on;
    let mut notes: Vec<_> = base.tracks[0].notes.iter().map(|n| n.now).collect();
    notes[3].on -= 12;
    notes[3].off -= 12;
    let rows: Vec<_> = notes.iter().map(|n| (n.on, n.off, n.key, n.velocity)).collect();
    let found = adopt(&base, &on_a_grid(&base, &rows), &[], &|_, _| Vec::new());
    let now = found.after.tracks[0].notes[3].now;
    assert_eq!(now.off - now.on, length, "{now:?}");
    assert!((now.on - notes[3].on).abs() <= 8, "{now:?}");
    assert_eq!(found.marks.len(), 1, "{:?}", found.marks);
}

/// Two players of one key; one of them goes to another key. Velocity tells which.
#[test]
fn of_two_in_unison_the_one_that_stays_is_known() {
    for (first, second) in [(64, 69), (69, 64)] {
        let mut base = written();
        base.tracks[0].notes.truncate(2);
        for (note, (on, off, velocity)) in
            base.tracks[0].notes.iter_mut().zip([(57_726, 63_191, first), (57_729, 61_143, second)])
        {
            note.now = Sounded { on, key: 71, channel: 2, velocity, off };
            note.computed = note.now;
        }
        let rows = [(57_729, 61_143, 71, second), (57_726, 63_191, 74, first)];
        let found = adopt(&base, &on_a_grid(&base, &rows), &[], &|_, _| Vec::new());
        let now: Vec<_> = found.after.tracks[0].notes.iter().map(|n| (n.now.key, n.now.velocity)).collect();
        assert_eq!(now, [(74, first), (71, second)]);
        assert_eq!(found.marks.len(), 1, "{:?}", found.marks);
    }
}

/// The chair with 64 notes of another tune: each note's key and length of a list that repeats itself late.
fn tune(step: i64, keys: [i64; 7]) -> Written {
    let mut out = written();
    let sample = out.tracks[0].notes[0].clone();
    out.tracks[0].notes = (0..64)
        .map(|i: i64| {
            let on = i * QUARTER / 2 + step * (i % 3);
            let key = (keys[(i % 7) as usize] + 2 * (i / 7 % 5)) as u8;
            let now = Sounded { on, key, off: on + QUARTER / 4, ..sample.now };
            let who = Who::Computed(NoteName { at: beats_of(on), key, ordinal: 1 });
            WrittenNote { now, computed: now, who, ..sample.clone() }
        })
        .collect();
    out
}

#[test]
fn another_cues_file_is_no_edit_and_a_heavy_edit_is_one() {
    let ours = tune(11, [60, 62, 64, 65, 67, 69, 71]);
    let theirs = tune(37, [81, 59, 75, 66, 78, 58, 70]);
    let is_edit = |came: &Written| likeness(&ours, &file(came)).is_edit();
    assert!(is_edit(&ours) && !is_edit(&theirs), "{:?}", likeness(&ours, &file(&theirs)));
    assert!(!likeness(&theirs, &file(&ours)).is_edit());
    let edited = |change: &dyn Fn(usize, &mut WrittenNote)| {
        let mut came = ours.clone();
        came.tracks[0].notes.iter_mut().enumerate().for_each(|(i, n)| change(i, n));
        is_edit(&came)
    };
    let moved = |n: &mut WrittenNote, by: i64| (n.now.on, n.now.off) = (n.now.on + by, n.now.off + by);
    // Nine in ten rewritten; nine in ten taken out; all moved by hand; all an octave up; all louder.
    assert!(edited(&|i, n| if i % 10 > 0 {
        n.now.key = 40 + (i % 9) as u8 * 5
    }));
    assert!(edited(&|i, n| n.sent = i % 10 == 0));
    assert!(edited(&|i, n| moved(n, if i % 2 == 0 { 300 } else { -290 - i as i64 })));
    assert!(edited(&|_, n| n.now.key += 12));
    assert!(edited(&|_, n| n.now.velocity = 120));
    // Where nothing was written, all is one's own.
    let mut silent = ours.clone();
    silent.tracks[0].notes.clear();
    assert!(likeness(&silent, &file(&theirs)).is_edit());
    // Tracks of no chair alone are no edit.
    let mut other = file(&theirs);
    other.tracks[0].name = "Pad".into();
    assert!(!likeness(&ours, &other).is_edit());
}
