//! A first plan from music alone: every chair as written, ready to be changed.

mod chairs;
mod cols;
mod levels;
mod order;
mod passages;
mod proof;
mod runs;
mod state;
mod text;

use ripieno_music::{Reading, Score};

/// What the texts of a draft say beside the music itself.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct DraftOptions {
    /// `[cue] title`; the score's own title if there is none, else the music file's name.
    pub title: Option<String>,
    /// `[cue] music`: the music file, relative to the plan.
    pub music: String,
    /// `[cue] template`: the template file, relative to the plan.
    pub template: String,
    /// The chairs of a template that is there already: a track that is none of them becomes a line that is still to be cast.
    pub within: Option<Vec<String>>,
}

/// A first plan and template, as texts.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Draft {
    /// Text of `cue.toml`.
    pub cue: String,
    /// Text of `template.toml`.
    pub template: String,
    /// Every guess that the composer should look at, one sentence each.
    pub doubts: Vec<String>,
}

/// Drafts a plan: one chair and one line for each track that has notes; the passages of the reading, or, where it has none,
/// passages at rehearsal marks, double bars and markers, or else every eight bars. A chair plays `as written` wherever it
/// sounds, and `col` where the reading found that it doubles another and a `col` changes nothing: then the doubling follows
/// when the leader is given something else.
///
/// Casting the draft gives back the notes of every track: onset, length, pitch, marks, slurs and text, with the dynamics and
/// words that are in force at each.
pub fn draft(score: &Score, reading: &Reading, options: &DraftOptions) -> Draft {
    draft_for(score, reading, options, &[])
}

/// A chair that was guessed for a track.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ChairFound {
    /// Index of its track in [`Score::tracks`].
    pub track: usize,
    /// The id that [`draft`] gives it, in the template and in `[lines]`.
    pub id: String,
    /// As printed; empty where the source has no name.
    pub name: String,
    /// Its instrument, by id in the instrument table.
    pub instrument: String,
    /// How many players it has; 1 or more.
    pub players: u16,
}

/// The chairs that [`draft`] makes: one for each track that has notes, in the order of the score.
pub fn chairs_of(score: &Score) -> Vec<ChairFound> {
    chairs::seats(score)
        .into_iter()
        .map(|s| ChairFound {
            track: s.track,
            id: s.id,
            name: s.name,
            instrument: s.instrument,
            players: s.players,
        })
        .collect()
}

/// The same where some tracks are known to be chairs of a template: `chairs` has the id of each track's chair, or nothing.
pub fn draft_for(
    score: &Score,
    reading: &Reading,
    options: &DraftOptions,
    chairs: &[Option<String>],
) -> Draft {
    let mut seats = chairs::seats(score);
    for seat in &mut seats {
        if let Some(Some(id)) = chairs.get(seat.track) {
            seat.id.clone_from(id);
            seat.doubts.clear();
            seat.comments.clear();
        }
    }
    let known = |seat: &chairs::Seat| chairs.get(seat.track).is_some_and(Option::is_some);
    let sketched = |seat: &chairs::Seat| ripieno_music::names_a_line(&score.tracks[seat.track].name);
    let there = |seat: &chairs::Seat| {
        let all = options.within.as_ref();
        known(seat) || all.is_none_or(|all| all.contains(&seat.id) && !sketched(seat))
    };
    let (seats, others): (Vec<_>, Vec<_>) = seats.into_iter().partition(there);
    let lines = chairs::lines_of(score, &seats, others);
    let stretches = passages::stretches(score, &seats, reading);
    let cells = proof::cells(score, reading, &seats, &stretches);
    let doubts = seats.iter().chain(&lines).flat_map(|s| s.doubts.iter().map(|d| format!("{}: {d}", s.id)));
    let doubts = doubts.collect();
    let drafted = text::Drafted { seats, lines, stretches, cells };
    Draft {
        cue: text::cue(score, reading, options, &drafted),
        template: text::template(&drafted.seats),
        doubts,
    }
}

#[cfg(test)]
mod tests {
    use super::chairs::Seat;
    use super::*;
    use crate::cast;
    use proptest::prelude::*;
    use ripieno_music::{
        Bar, Direction, DirectionKind, Dynamic, Mark, Metre, Note, NoteKind, Playing, Syllable,
        SyllablePlace, TimeMark, TimeMarkKind, Timeline, Track,
    };
    use ripieno_plan::{Plan, Template};
    use ripieno_units::Beats;

    fn as_plan(score: &Score) -> (Plan, Template, Vec<Seat>) {
        drafted(score, &Reading::default())
    }

    fn drafted(score: &Score, reading: &Reading) -> (Plan, Template, Vec<Seat>) {
        let seats = chairs::seats(score);
        let stretches = passages::stretches(score, &seats, reading);
        let cells = proof::cells(score, reading, &seats, &stretches);
        let (plan, template) = proof::as_plan(&seats, &stretches, &cells);
        (plan, template, seats)
    }

    fn note() -> impl Strategy<Value = Note> {
        let shape = (-8i64..160, 1i64..24, -1i16..128, 1u16..4, 1u8..3);
        let signs = (any::<[bool; 5]>(), proptest::option::of(0usize..3), proptest::option::of("[a-z]{1,4}"));
        (shape, signs).prop_map(|((at, length, key, voice, staff), (flags, mark, text))| {
            let mut note = Note::plain(Beats::new(at, 3), Beats::new(length, 2), key.max(0));
            if key < 0 {
                note.kind = NoteKind::Unpitched { stroke: "triangle".into() };
            }
            (note.voice, note.staff) = (voice, staff);
            (note.slurred, note.slurs_on) = (flags[0], flags[1]);
            if let Some(i) = mark {
                note.marks.add([Mark::Staccato, Mark::Accent, Mark::Tenuto][i]);
            }
            note.syllable =
                text.map(|text| Syllable { text, place: SyllablePlace::Single, extends: flags[2], verse: 1 });
            note
        })
    }

    fn direction() -> impl Strategy<Value = Direction> {
        (0i64..60, 0usize..4).prop_map(|(at, kind)| Direction {
            at: Beats::whole(at),
            staff: None,
            voice: None,
            kind: match kind {
                0 => DirectionKind::Dynamic(Dynamic::F),
                1 => DirectionKind::Playing(Playing::Pizz),
                2 => DirectionKind::Hairpin { louder: true, to: Beats::whole(at + 9), niente: false },
                _ => DirectionKind::Words("dolce".into()),
            },
        })
    }

    fn track() -> impl Strategy<Value = Track> {
        let names = prop_oneof![
            Just("Violin 1".to_owned()),
            Just("violin 1 ".to_owned()),
            Just("P2".to_owned()),
            Just("#1".to_owned()),
            Just(String::new()),
            Just("tacet".to_owned()),
            "\\PC{0,12}",
        ];
        (names, proptest::collection::vec(note(), 0..40), proptest::collection::vec(direction(), 0..6))
            .prop_map(|(name, notes, directions)| {
                let mut track = Track { name, ..Track::default() };
                (track.content.notes, track.content.directions) = (notes, directions);
                track.content.sort();
                track
            })
    }

    fn score() -> impl Strategy<Value = Score> {
        let marks = proptest::collection::vec((0i64..80, 0usize..5, "[AB]?"), 0..6);
        (proptest::collection::vec(track(), 1..6), marks, any::<bool>(), 1usize..24).prop_map(
            |(tracks, marks, pick_up, bars)| {
                let mut timeline = Timeline::regular(bars, Metre { beats: 3, unit: 4 }, 90.0);
                if pick_up {
                    let metre = Metre { beats: 3, unit: 4 };
                    let (at, length) = (Beats::whole(-1), Beats::whole(1));
                    timeline.bars.insert(0, Bar { at, length, metre, number: 0, printed: "0".into() });
                }
                timeline.marks = marks
                    .into_iter()
                    .map(|(at, kind, text)| TimeMark {
                        at: Beats::whole(at),
                        kind: [
                            TimeMarkKind::Rehearsal,
                            TimeMarkKind::DoubleBar,
                            TimeMarkKind::Marker,
                            TimeMarkKind::Cue,
                            TimeMarkKind::Tempo,
                        ][kind],
                        text,
                    })
                    .collect();
                let tracks = tracks
                    .into_iter()
                    .enumerate()
                    .map(|(i, t)| Track { id: format!("P{}", i + 1), ..t })
                    .collect();
                Score { title: None, composer: None, timeline, tracks, warnings: Vec::new() }
            },
        )
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(400))]

        /// The law: a draft, cast, is the music.
        #[test]
        fn a_draft_gives_the_music_back(score in score()) {
            let (plan, template, seats) = as_plan(&score);
            let (parts, findings) = cast(&score, &plan, &template);
            prop_assert_eq!(findings, Vec::new());
            prop_assert_eq!(parts.len(), seats.len());
            let with_notes = score.tracks.iter().filter(|t| !t.content.notes.is_empty()).count();
            prop_assert_eq!(parts.len(), with_notes);
            for (part, seat) in parts.iter().zip(&seats) {
                prop_assert_eq!(&part.chair, &seat.id);
                prop_assert_eq!(&part.content.notes, &score.tracks[seat.track].content.notes);
            }
            // Bars are covered once, from the first to the last.
            let mut next = score.timeline.bars[0].number;
            for passage in &plan.passages {
                prop_assert_eq!(passage.from_bar, next);
                prop_assert!(passage.to_bar >= passage.from_bar);
                next = passage.to_bar + 1;
            }
            prop_assert_eq!(next, score.timeline.bars.last().map_or(0, |b| b.number) + 1);
        }
    }

    #[test]
    fn a_chair_that_plays_throughout_keeps_its_directions() {
        let mut track = Track { id: "P1".into(), name: "Oboe".into(), ..Track::default() };
        track.content.notes = (0..64).map(|i| Note::plain(Beats::whole(i), Beats::whole(1), 72)).collect();
        let put = |at, kind| Direction { at: Beats::whole(at), staff: None, voice: None, kind };
        track.content.directions = vec![
            put(0, DirectionKind::Dynamic(Dynamic::P)),
            put(30, DirectionKind::Hairpin { louder: true, to: Beats::whole(40), niente: false }),
            put(33, DirectionKind::Playing(Playing::Flutter)),
            put(40, DirectionKind::Dynamic(Dynamic::F)),
        ];
        let timeline = Timeline::regular(16, Metre { beats: 4, unit: 4 }, 90.0);
        let score =
            Score { title: None, composer: None, timeline, tracks: vec![track], warnings: Vec::new() };
        let (plan, template, _) = as_plan(&score);
        let (parts, _) = cast(&score, &plan, &template);
        assert_eq!(parts[0].content, score.tracks[0].content);
        assert_eq!(parts[0].cells.len(), plan.passages.len());
    }
}
