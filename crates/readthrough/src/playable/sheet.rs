//! What a player has on the desk: the notes of a part with their seconds, dynamics and words, ready for the rules.

use super::breath_places::Bass;
use crate::{Desk, Found, Table};
use ripieno_music::{Direction, DirectionKind, Dynamic, Finding, Mark, Note, Place, Playing, Severity};
use ripieno_plan::PassagePlan;
use ripieno_units::Beats;
use std::collections::BTreeMap;
use std::sync::OnceLock;

/// Notes nearer than this count as one onset, seconds.
const TOGETHER: f64 = 0.02;
/// Hits of a rule that lie no more bars apart than this are one stretch: a player works on them together.
const APART: i32 = 8;

/// One written note, in time.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Read<'a> {
    pub(crate) note: &'a Note,
    /// Sounding MIDI key; none without pitch.
    pub(crate) key: Option<i16>,
    /// Written onset and end, seconds.
    pub(crate) from: f64,
    pub(crate) to: f64,
    /// Level at its onset in dB re the instrument's mf.
    pub(crate) level: f64,
    /// What its dynamic is by what is written.
    pub(crate) told: Told,
    pub(crate) words: Words,
}

/// What the part says of a note's dynamic.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Told {
    /// This mark holds.
    Mark(Dynamic),
    /// A hairpin is under way or has led on, or no part of it is marked: its level says it.
    Level,
    /// Marks come only later in the part.
    NotYet,
}

impl Read<'_> {
    pub(crate) fn seconds(&self) -> f64 {
        (self.to - self.from).max(0.0)
    }

    /// The dynamic mark that holds, as written; under a hairpin the one that its level comes nearest to.
    pub(crate) fn mark(&self) -> &'static str {
        match self.told {
            Told::Mark(mark) => mark.word(),
            _ => nearest_mark(self.level),
        }
    }

    /// Its dynamic is written: nobody is blamed for what a part does not say yet.
    pub(crate) fn marked(&self) -> bool {
        self.told != Told::NotYet
    }
}

/// The words that are in force at a note.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Words {
    pub(crate) pizz: bool,
    pub(crate) muted: bool,
    pub(crate) harmonics: bool,
    pub(crate) trem: bool,
    /// Held notes are rolled.
    pub(crate) rolled: bool,
    /// How many play, where the words say so.
    pub(crate) playing: Option<u16>,
    /// Parted into so many (0: not said how many).
    pub(crate) parted: Option<u8>,
}

impl Words {
    fn take(&mut self, word: &Playing) {
        use Playing as P;
        match word {
            P::Pizz => (self.pizz, self.trem) = (true, false),
            P::Arco | P::ColLegnoBattuto | P::ColLegnoTratto => self.pizz = false,
            P::ConSord => self.muted = true,
            P::SenzaSord => self.muted = false,
            P::Harmonics => self.harmonics = true,
            P::Ord => (self.harmonics, self.trem, self.rolled) = (false, false, false),
            P::Trem(on) => self.trem = *on,
            P::Roll | P::Swell => self.rolled = true,
            P::Strokes => self.rolled = false,
            P::Solo => self.playing = Some(1),
            P::Together(n) => self.playing = Some(u16::from(*n)),
            P::Players(set) => self.playing = Some(set.count_ones() as u16),
            P::Tutti => (self.playing, self.parted) = (None, None),
            P::Unis | P::NonDiv => self.parted = None,
            P::Div(n) => self.parted = Some(*n),
            _ => {}
        }
    }
}

/// The part of one chair, worked out.
pub(crate) struct Sheet<'a> {
    pub(crate) table: &'a Table<'a>,
    pub(crate) desk: &'a Desk<'a>,
    /// In order of onset.
    pub(crate) notes: Vec<Read<'a>>,
    /// Indices of notes that follow each other in one voice, by staff and voice; of a chord the top note.
    pub(crate) voices: Vec<Vec<usize>>,
    /// The lowest note of all parts, worked out for the first who asks.
    pub(crate) bass: &'a OnceLock<Bass>,
}

impl<'a> Sheet<'a> {
    pub(crate) fn of(table: &'a Table<'a>, desk: &'a Desk<'a>, bass: &'a OnceLock<Bass>) -> Self {
        let content = &desk.part.content;
        let mut walks: BTreeMap<(u8, u16), (usize, Words, Told)> = BTreeMap::new();
        let dynamic = |d: &Direction| matches!(d.kind, DirectionKind::Dynamic(m) if m.level().is_some());
        let first = if content.directions.iter().any(dynamic) { Told::NotYet } else { Told::Level };
        let mut notes: Vec<Read<'a>> = Vec::with_capacity(content.notes.len());
        for note in &content.notes {
            let (next, words, told) =
                walks.entry((note.staff, note.voice)).or_insert((0, Words::default(), first));
            while let Some(direction) = content.directions.get(*next).filter(|d| d.at <= note.at) {
                *next += 1;
                let meant = direction.staff.is_none_or(|s| s == note.staff)
                    && direction.voice.is_none_or(|v| v == note.voice);
                match &direction.kind {
                    DirectionKind::Playing(word) if meant => words.take(word),
                    DirectionKind::Dynamic(mark) if meant && mark.level().is_some() => {
                        *told = Told::Mark(settled(*mark));
                    }
                    DirectionKind::Hairpin { .. } if meant => *told = Told::Level,
                    _ => {}
                }
            }
            let (from, to) = (table.clock.seconds(note.at), table.clock.seconds(note.end()));
            notes.push(Read {
                note,
                key: note.pitch().map(|p| p.key),
                from: from.0,
                to: to.0,
                // Past the corner that a mark makes in the curve.
                level: desk.performance.level.at(ripieno_units::Seconds(from.0 + 0.03)),
                told: *told,
                words: *words,
            });
        }
        let mut order: Vec<usize> = (0..notes.len()).collect();
        order.sort_by(|a, b| notes[*a].from.total_cmp(&notes[*b].from));
        let notes: Vec<Read<'a>> = order.into_iter().map(|i| notes[i]).collect();
        let mut voices: BTreeMap<(u8, u16), Vec<usize>> = BTreeMap::new();
        for (i, read) in notes.iter().enumerate() {
            let line = voices.entry((read.note.staff, read.note.voice)).or_default();
            match line.last().copied() {
                Some(last) if read.from - notes[last].from < TOGETHER => {
                    if read.key > notes[last].key {
                        line.pop();
                        line.push(i);
                    }
                }
                _ => line.push(i),
            }
        }
        Self { table, desk, notes, voices: voices.into_values().collect(), bass }
    }

    /// One player alone at this note, with nobody to breathe in turn with.
    pub(crate) fn alone(&self, read: &Read<'_>) -> bool {
        let players = read.words.playing.unwrap_or(self.desk.players).min(self.desk.players).max(1);
        players == 1 || read.words.parted.is_some_and(|n| u16::from(n) >= players)
    }

    pub(crate) fn place(&self, at: Beats) -> Place {
        self.table.timeline.place(at)
    }

    pub(crate) fn bar(&self, index: usize) -> i32 {
        self.place(self.notes[index].note.at).bar
    }

    /// Hits of a rule gathered into stretches: within one passage, and near each other.
    pub(crate) fn stretches(&self, hits: &[usize]) -> Vec<Stretch> {
        self.gathered(hits, true)
    }

    /// The same, over the ends of passages: for what no change of one cell settles.
    pub(crate) fn runs(&self, hits: &[usize]) -> Vec<Stretch> {
        self.gathered(hits, false)
    }

    fn gathered(&self, hits: &[usize], by_passage: bool) -> Vec<Stretch> {
        let mut out: Vec<(Stretch, Option<usize>)> = Vec::new();
        for hit in hits {
            let bar = self.bar(*hit);
            let holds = |p: &PassagePlan| by_passage && p.from_bar <= bar && bar <= p.to_bar;
            let passage = self.table.plan.passages.iter().position(holds);
            match out.last_mut() {
                Some((last, of)) if *of == passage && bar - last.to_bar <= APART => {
                    last.to_bar = last.to_bar.max(bar);
                    last.hits.push(*hit);
                }
                _ => {
                    let first = self.place(self.notes[*hit].note.at);
                    out.push((Stretch { first, to_bar: bar, hits: vec![*hit] }, passage));
                }
            }
        }
        out.into_iter().map(|(stretch, _)| stretch).collect()
    }

    /// A finding about a stretch.
    pub(crate) fn found(&self, rule: &'static str, severity: Severity, stretch: &Stretch) -> Found {
        Found::new(rule, severity, self.desk.id(), stretch.first).to(stretch.to_bar)
    }

    /// The highest and lowest note of a stretch, as a musician names them: `Bb3`, `A6 to C7`.
    pub(crate) fn span(&self, stretch: &Stretch) -> String {
        let keys: Vec<i16> = stretch.hits.iter().filter_map(|i| self.notes[*i].key).collect();
        match (keys.iter().min(), keys.iter().max()) {
            (Some(low), Some(high)) if low == high => pitch_name(*low),
            (Some(low), Some(high)) => format!("{} to {}", pitch_name(*low), pitch_name(*high)),
            _ => String::new(),
        }
    }
}

/// Notes that a rule speaks of together.
#[derive(Clone, Debug)]
pub(crate) struct Stretch {
    pub(crate) first: Place,
    pub(crate) to_bar: i32,
    /// Indices of notes; at least one.
    pub(crate) hits: Vec<usize>,
}

impl Stretch {
    /// `one note`, `7 notes in bars 12 to 15`.
    pub(crate) fn count(&self) -> String {
        let bars = if self.to_bar > self.first.bar {
            format!(" in bars {} to {}", self.first.bar, self.to_bar)
        } else {
            String::new()
        };
        match self.hits.len() {
            1 => "one note".to_string(),
            n => format!("{n} notes{bars}"),
        }
    }
}

/// As musicians say it.
pub(crate) use ripieno_music::key_name as pitch_name;

/// What holds after the attack of a mark.
fn settled(mark: Dynamic) -> Dynamic {
    let level = mark.level();
    Dynamic::LADDER.into_iter().find(|d| d.level() == level).unwrap_or(mark)
}

/// The dynamic mark nearest to a level in dB re mf.
pub(crate) fn nearest_mark(level: f64) -> &'static str {
    let off = |d: &Dynamic| d.level().map_or(f64::INFINITY, |l| (l.0 - level).abs());
    Dynamic::LADDER[..9].iter().min_by(|a, b| off(a).total_cmp(&off(b))).map_or("mf", |d| d.word())
}

/// The level of a dynamic mark, dB re mf.
pub(crate) fn level_of(mark: &str) -> Option<f64> {
    Dynamic::parse(mark).and_then(Dynamic::level).map(|l| l.0)
}

/// Where words change, in order.
pub(crate) fn playing_words(directions: &[Direction]) -> impl Iterator<Item = (Beats, &Playing)> {
    directions.iter().filter_map(|d| match &d.kind {
        DirectionKind::Playing(word) => Some((d.at, word)),
        _ => None,
    })
}

/// Under a trill, tremolo or roll: many strokes and not one note.
pub(crate) fn repeated_strokes(read: &Read<'_>) -> bool {
    read.words.trem || read.words.rolled || read.note.tremolo.is_some() || read.note.ornament.is_some()
}

/// Played as a harmonic: what sounds is not what is fingered.
pub(crate) fn harmonic(read: &Read<'_>) -> bool {
    read.words.harmonics || read.note.marks.has(Mark::Harmonic)
}

/// Seconds, as one says them.
pub(crate) fn said(seconds: f64) -> String {
    if seconds < 9.95 { format!("{seconds:.1} s") } else { format!("{seconds:.0} s") }
}

/// `bar 12, beat 3`.
pub(crate) fn place_said(place: Place) -> String {
    let beat = (place.beat * 100.0).round() / 100.0;
    format!("bar {}, beat {beat}", place.bar)
}

/// One rule at a desk.
pub(crate) type Check = fn(&Sheet<'_>, &mut Vec<Finding>);
