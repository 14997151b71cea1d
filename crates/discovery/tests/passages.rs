//! Where passages begin, and what they are called.

use ripieno_discovery::passages::find;
use ripieno_music::{Key, Metre, Note, PassageFound, Score, Tempo, TimeMark, TimeMarkKind, Timeline, Track};
use ripieno_units::Beats;

/// Bar from 0, beat from 0, length in quarters, key.
type Row = Vec<(i64, i64, i64, i16)>;

const FOUR: Metre = Metre { beats: 4, unit: 4 };

/// Tracks of notes (bar, beat, length in quarters, key) over so many bars of 4/4.
fn score(bars: usize, tracks: &[(&str, Row)]) -> Score {
    let tracks = tracks
        .iter()
        .map(|(name, notes)| {
            let mut track = Track { id: (*name).into(), name: (*name).into(), ..Track::default() };
            track.content.notes = notes
                .iter()
                .map(|(bar, beat, length, key)| {
                    Note::plain(Beats::whole(4 * bar + beat), Beats::whole(*length), *key)
                })
                .collect();
            track.content.sort();
            track
        })
        .collect();
    let timeline = Timeline::regular(bars, FOUR, 100.0);
    Score { title: None, composer: None, timeline, tracks, warnings: Vec::new() }
}

/// A tune of four bars, in a key.
fn tune(from: i64, up: i16) -> Row {
    let keys = [60, 64, 67, 65, 64, 62, 60, 59, 60, 67, 69, 67, 65, 64, 62, 60];
    keys.iter().enumerate().map(|(i, k)| (from + i as i64 / 4, i as i64 % 4, 1, k + up)).collect()
}

/// Something else: slow, in other steps.
fn other(from: i64) -> Row {
    let keys = [61, 66, 68, 70, 63, 61, 58, 66];
    keys.iter().enumerate().map(|(i, k)| (from + i as i64 / 2, 2 * (i as i64 % 2), 2, k + 12)).collect()
}

fn twice<F: Fn(i64) -> Row>(from: i64, what: F) -> Row {
    [what(from), what(from + 4)].concat()
}

fn spans(passages: &[PassageFound]) -> Vec<(&str, i32, i32)> {
    passages.iter().map(|p| (p.name.as_str(), p.from_bar, p.to_bar)).collect()
}

fn mark(bar: i64, kind: TimeMarkKind, text: &str) -> TimeMark {
    TimeMark { at: Beats::whole(4 * bar), kind, text: text.into() }
}

/// A cue of sixteen bars over one ostinato: families enter one after the other.
#[test]
fn entries_part_a_short_cue() {
    let figure: Row =
        (0..16).flat_map(|bar| (0..4).map(move |i| (bar, i, 1, 48 + 7 * (i as i16 % 2)))).collect();
    let held = |from: i64, key: i16| -> Row { (from..16).map(|bar| (bar, 0, 4, key)).collect() };
    let score = score(
        16,
        &[
            ("Violins", held(0, 76)),
            ("Violas", held(0, 67)),
            ("Cellos", figure.clone()),
            ("Basses", held(0, 36)),
            ("Horns", held(8, 64)),
            ("Trombones", held(8, 52)),
            ("Trumpets", held(8, 72)),
        ],
    );
    let found = find(&score);
    assert_eq!(spans(&found), [("A", 1, 8), ("A'", 9, 16)]);
    assert_eq!(found[1].because, ["tutti"]);
}

#[test]
fn a_returns_in_other_colours_and_another_key() {
    let score = score(
        24,
        &[
            ("Violin 1", twice(0, |b| tune(b, 12))),
            ("Viola", twice(0, |b| tune(b, 0))),
            ("Clarinet in C", twice(8, other)),
            ("Flute", twice(16, |b| tune(b, 14))),
            ("Bassoon", twice(16, |b| tune(b, -10))),
        ],
    );
    let found = find(&score);
    assert_eq!(spans(&found), [("A", 1, 8), ("B", 9, 16), ("A'", 17, 24)]);
    assert!(found[0].because.is_empty());
    assert!(found[1].because.contains(&"the winds enter".to_owned()), "{:?}", found[1].because);
}

#[test]
fn marks_come_first_and_keep_their_names() {
    let mut score = score(32, &[("Violin 1", (0..8).flat_map(|b| tune(4 * b, 12)).collect())]);
    score.timeline.marks = vec![
        mark(4, TimeMarkKind::Rehearsal, "A"),
        mark(8, TimeMarkKind::Marker, "Storm"),
        mark(12, TimeMarkKind::DoubleBar, ""),
        mark(16, TimeMarkKind::Rehearsal, "A"),
        mark(17, TimeMarkKind::Tempo, "Allegro"),
    ];
    score.timeline.keys = vec![
        Key { at: Beats::ZERO, fifths: 0, minor: false },
        Key { at: Beats::whole(80), fifths: -4, minor: true },
    ];
    score.timeline.tempi.push(Tempo::per_minute(Beats::whole(96), 60.0));
    let found = find(&score);
    let starts: Vec<i32> = found.iter().map(|p| p.from_bar).collect();
    assert_eq!(starts, [1, 5, 9, 13, 17, 21, 25]);
    let names: Vec<&str> = found.iter().map(|p| p.name.as_str()).collect();
    assert_eq!(names[1..3], ["A", "Storm"]);
    assert_eq!(names[4], "A (2)");
    assert!(found[3].because.contains(&"double bar".to_owned()));
    assert!(found[5].because.contains(&"key of F minor".to_owned()), "{:?}", found[5].because);
    assert!(found[6].because.contains(&"slower".to_owned()));
    let mut all: Vec<String> = names.iter().map(|n| n.to_lowercase()).collect();
    all.sort();
    all.dedup();
    assert_eq!(all.len(), names.len(), "{names:?}");
}

#[test]
fn a_pick_up_belongs_to_the_first_passage() {
    let mut score = score(17, &[("Violin 1", (0..4).flat_map(|b| tune(4 * b, 12)).collect())]);
    for (i, bar) in score.timeline.bars.iter_mut().enumerate() {
        bar.number = i as i32;
        bar.at -= Beats::whole(4);
    }
    score.timeline.marks =
        vec![mark(0, TimeMarkKind::Rehearsal, "Song"), mark(8, TimeMarkKind::DoubleBar, "")];
    let found = find(&score);
    assert_eq!((found[0].name.as_str(), found[0].from_bar), ("Song", 0));
    assert_eq!(found[1].from_bar, 9);
}

#[test]
fn alternating_metres_and_a_ritardando_make_no_passages() {
    let mut score = score(16, &[("Violin 1", (0..4).flat_map(|b| tune(4 * b, 12)).collect())]);
    for quarter in 24..28 {
        let slower = 95.0 - 8.0 * f64::from(quarter - 24);
        score.timeline.tempi.push(Tempo::per_minute(Beats::whole(i64::from(quarter)), slower));
    }
    score.timeline.tempi.push(Tempo::per_minute(Beats::whole(28), 100.0));
    assert_eq!(find(&score).len(), 1);
    score.timeline.tempi.truncate(1);
    for bar in [5, 9] {
        score.timeline.bars[bar].metre = Metre { beats: 2, unit: 2 };
    }
    assert_eq!(find(&score).len(), 1);
}

#[test]
fn a_general_pause_ends_a_passage() {
    let score = score(17, &[("Violin 1", [twice(0, |b| tune(b, 12)), twice(9, |b| tune(b, 12))].concat())]);
    let found = find(&score);
    assert_eq!(found.iter().map(|p| p.from_bar).collect::<Vec<_>>(), [1, 10]);
    assert_eq!(found[1].because, ["after a general pause"]);
}

#[test]
fn passages_cover_the_piece_without_gaps() {
    use proptest::prelude::*;
    proptest!(ProptestConfig { cases: 60, failure_persistence: None, ..ProptestConfig::default() }, |(
        notes in prop::collection::vec((0i64..40, 0i64..4, 1i64..9, 30i16..90, 0usize..4), 0..200),
        marks in prop::collection::vec((0i64..44, 0usize..4), 0..8),
        pick_up in any::<bool>(),
    )| {
        let mut rows: Vec<(&str, Row)> =
            ["Flute", "Horn", "Violin 1", "Drums"].map(|n| (n, Vec::new())).to_vec();
        for (bar, beat, length, key, track) in notes {
            rows[track].1.push((bar, beat, length, key));
        }
        let mut score = score(40, &rows);
        let kinds = [TimeMarkKind::Rehearsal, TimeMarkKind::DoubleBar, TimeMarkKind::Marker, TimeMarkKind::Cue];
        score.timeline.marks = marks.iter().map(|(bar, kind)| mark(*bar, kinds[*kind], "a")).collect();
        if pick_up {
            for (i, bar) in score.timeline.bars.iter_mut().enumerate() {
                bar.number = i as i32;
                bar.at -= Beats::whole(4);
            }
        }
        let reading = ripieno_discovery::read(&score);
        let first = i32::from(!pick_up);
        let mut next = first;
        let mut names = Vec::new();
        for passage in &reading.passages {
            prop_assert_eq!(passage.from_bar, next);
            prop_assert!(passage.to_bar >= passage.from_bar);
            prop_assert_eq!(passage.roles.len(), 4);
            next = passage.to_bar + 1;
            names.push(passage.name.to_lowercase());
        }
        prop_assert_eq!(next, first + 40);
        names.sort();
        names.dedup();
        prop_assert_eq!(names.len(), reading.passages.len());
        for pair in reading.tune.windows(2) {
            prop_assert!(pair[0].to <= pair[1].from);
        }
    });
}

#[test]
fn a_large_score_is_read_in_a_moment() {
    // 60 chairs, 400 bars, 1600 notes each.
    let names: Vec<String> = (0..60).map(|i| format!("Violin {i}")).collect();
    let rows: Vec<(&str, Row)> = names
        .iter()
        .enumerate()
        .map(|(i, n)| {
            let key = |bar: i64, beat: i64| 40 + (i as i16 * 7 + bar as i16 * 5 + beat as i16 * 3) % 40;
            (n.as_str(), (0..1600).map(|k| (k / 4, k % 4, 1, key(k / 4, k % 4))).collect())
        })
        .collect();
    let score = score(400, &rows);
    let started = std::time::Instant::now();
    let reading = ripieno_discovery::read(&score);
    println!("60 chairs, 400 bars: {:?}", started.elapsed());
    assert_eq!(reading.passages.iter().map(|p| p.to_bar).max(), Some(400));
    // Generous: the machine may be busy, and the build without optimisation.
    assert!(started.elapsed().as_secs() < 20);
}
