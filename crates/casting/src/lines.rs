//! Lines of the music: finding a strand in a track, whole or by voice.

use crate::share::{largest_chord, share};
use ripieno_music::{Content, Control, Direction, DirectionKind, Note, Playing, Score, Track, Transposition};
use ripieno_plan::{Kept, LineDef, LineVoice};
use ripieno_units::Beats;
use std::collections::BTreeMap;

/// Which strand: a line, a voice of it, shared out to how many.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct StrandKey {
    pub(crate) line: String,
    pub(crate) voice: Voice,
    /// All voices, but as so many groups of players; 0: as many as the chords have notes.
    pub(crate) divided: Option<u8>,
    /// Something is kept of the line of the chair that plays along.
    pub(crate) keeps: Option<Keeps>,
}

/// What is kept of which other line.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Keeps {
    pub(crate) line: String,
    pub(crate) kept: Kept,
    /// Semitones by which the notes are moved that its rhythm is laid on: which of a chord is the nearest hangs on it.
    pub(crate) moved: i16,
}

/// [`LineVoice`] with an order; the top is the first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Voice {
    All,
    Nth(u8),
    Bottom,
}

impl From<LineVoice> for Voice {
    fn from(voice: LineVoice) -> Self {
        match voice {
            LineVoice::All => Self::All,
            LineVoice::Top => Self::Nth(1),
            LineVoice::Nth(n) => Self::Nth(n),
            LineVoice::Bottom => Self::Bottom,
        }
    }
}

impl StrandKey {
    /// A whole line.
    pub(crate) fn of_line(line: &str) -> Self {
        Self { line: line.to_owned(), voice: Voice::All, divided: None, keeps: None }
    }

    /// The same notes, with whatever signs?
    pub(crate) fn same_notes(&self, other: &Self) -> bool {
        let rhythm = |key: &Self| key.keeps.clone().filter(|k| k.kept == Kept::Rhythm);
        (&self.line, self.voice, self.divided, rhythm(self))
            == (&other.line, other.voice, other.divided, rhythm(other))
    }

    /// As the plan writes it.
    pub(crate) fn label(&self) -> String {
        match self.voice {
            Voice::All => self.line.clone(),
            Voice::Nth(1) => format!("{}.top", self.line),
            Voice::Nth(n) => format!("{}.{n}", self.line),
            Voice::Bottom => format!("{}.bottom", self.line),
        }
    }
}

/// A strand of the music, with what stands around it.
#[derive(Clone, Debug, Default)]
pub(crate) struct Strand {
    /// In order of onset.
    pub(crate) notes: Vec<Note>,
    pub(crate) directions: Vec<Direction>,
    pub(crate) controls: Vec<Control>,
    pub(crate) transpositions: Vec<(Beats, Transposition)>,
    /// For each note the first note of the chord before it, and of the chord after it, in its voice.
    pub(crate) before: Vec<Option<usize>>,
    pub(crate) after: Vec<Option<usize>>,
    /// Onsets of notes that no voice could take.
    pub(crate) left_out: Vec<Beats>,
}

impl Strand {
    fn new(mut notes: Vec<Note>, track: &Track, def: &LineDef) -> Self {
        if !notes.is_sorted_by_key(|n| n.at) {
            notes.sort_by_key(|n| n.at);
        }
        let mut directions = standing_at(track, def);
        if !directions.is_sorted_by_key(|d| d.at) {
            directions.sort_by_key(|d| d.at);
        }
        let (before, after) = Self::neighbours(&notes);
        let (controls, transpositions) = (track.content.controls.clone(), track.transpositions.clone());
        Self { notes, directions, controls, transpositions, before, after, left_out: Vec::new() }
    }

    /// For each note (in order of onset) the first note of the chord before it, and of the chord after it, in its voice.
    pub(crate) fn neighbours(notes: &[Note]) -> (Vec<Option<usize>>, Vec<Option<usize>>) {
        let (mut before, mut after) = (vec![None; notes.len()], vec![None; notes.len()]);
        // Of each voice: the first note of the chord that is going on, and that of the chord before it.
        let mut latest: BTreeMap<u16, (usize, Option<usize>)> = BTreeMap::new();
        for (i, note) in notes.iter().enumerate() {
            match latest.get_mut(&note.voice) {
                Some((first, previous)) if notes[*first].at == note.at => before[i] = *previous,
                Some((first, previous)) => {
                    (*first, *previous) = (i, Some(*first));
                    before[i] = *previous;
                }
                None => {
                    latest.insert(note.voice, (i, None));
                }
            }
        }
        // The other way round; a chord's first note stands for it.
        let mut next: BTreeMap<u16, (usize, Option<usize>)> = BTreeMap::new();
        for (i, note) in notes.iter().enumerate().rev() {
            match next.get_mut(&note.voice) {
                Some((first, following)) if notes[*first].at == note.at => {
                    after[i] = *following;
                    *first = i;
                }
                Some((first, following)) => {
                    (*first, *following) = (i, Some(*first));
                    after[i] = *following;
                }
                None => {
                    next.insert(note.voice, (i, None));
                }
            }
        }
        (before, after)
    }

    /// Indices of the notes that begin in `from..to`.
    pub(crate) fn within(&self, from: Beats, to: Beats) -> std::ops::Range<usize> {
        let first = self.notes.partition_point(|n| n.at < from);
        let last = self.notes.partition_point(|n| n.at < to);
        first..last.max(first)
    }

    /// Does a note begin here?
    pub(crate) fn begins(&self, at: Beats) -> bool {
        let next = self.notes.partition_point(|n| n.at < at);
        self.notes.get(next).is_some_and(|n| n.at == at)
    }

    /// The source's transposition that holds at a place.
    pub(crate) fn transposition(&self, at: Beats) -> Transposition {
        let i = self.transpositions.partition_point(|t| t.0 <= at);
        i.checked_sub(1).map_or(Transposition::default(), |i| self.transpositions[i].1)
    }
}

/// Why a line has no notes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum NoTrack {
    /// No track has this name or id.
    Unknown,
    /// So many tracks have this name.
    Several(usize),
}

/// The track that a line names: the one of that name (capitals and outer spaces do not matter), else the one of that
/// id, else `#3`, the third of the file.
pub(crate) fn find_track<'a>(score: &'a Score, name: &str) -> Result<&'a Track, NoTrack> {
    let wanted = name.trim().to_lowercase();
    let named: Vec<&Track> = score.tracks.iter().filter(|t| t.name.trim().to_lowercase() == wanted).collect();
    if let [only] = named[..] {
        return Ok(only);
    }
    if let Some(track) = score.tracks.iter().find(|t| t.id == name.trim()) {
        return Ok(track);
    }
    let by_place = wanted.strip_prefix('#').and_then(|n| n.parse::<usize>().ok());
    if let Some(track) = by_place.and_then(|n| score.tracks.get(n.checked_sub(1)?)) {
        return Ok(track);
    }
    Err(if named.is_empty() { NoTrack::Unknown } else { NoTrack::Several(named.len()) })
}

/// The strand of a key. A voice that the line does not have is `Err` with the number of voices.
pub(crate) fn strand(track: &Track, def: &LineDef, key: &StrandKey) -> Result<Strand, usize> {
    let notes: Vec<Note> = track
        .content
        .notes
        .iter()
        .filter(|n| def.voice.is_none_or(|v| v == n.voice) && def.staff.is_none_or(|s| s == n.staff))
        .filter(|n| match &n.kind {
            ripieno_music::NoteKind::Unpitched { stroke } if !def.strokes.is_empty() => {
                def.strokes.iter().any(|s| s.eq_ignore_ascii_case(stroke))
            }
            _ => def.strokes.is_empty(),
        })
        .cloned()
        .collect();
    let count = def.voices.map(usize::from);
    match (key.voice, key.divided) {
        (Voice::All, None) => Ok(Strand::new(notes, track, def)),
        (Voice::All, Some(groups)) => {
            let groups = if groups > 0 { Some(usize::from(groups)) } else { count };
            let shared = share(&notes, groups.unwrap_or_else(|| largest_chord(&notes)));
            let mut divided: Vec<Note> = Vec::new();
            for (i, voice) in shared.voices.into_iter().enumerate() {
                divided.extend(voice.into_iter().map(|n| Note { voice: i as u16 + 1, ..n }));
            }
            // Groups that meet on one note play it as one.
            divided.sort_by_key(|n| (n.at, n.pitch(), n.voice));
            divided.dedup_by(|later, kept| {
                let same = later.at == kept.at && later.kind == kept.kind && later.pitch().is_some();
                if same && later.length > kept.length {
                    kept.length = later.length;
                }
                same
            });
            let mut strand = Strand::new(divided, track, def);
            strand.left_out = shared.left_out;
            Ok(strand)
        }
        (voice, _) => {
            let least = if let Voice::Nth(n) = voice { usize::from(n) } else { 1 };
            let count = count.unwrap_or_else(|| largest_chord(&notes).max(least));
            let index = if let Voice::Nth(n) = voice { usize::from(n).max(1) - 1 } else { count.max(1) - 1 };
            let mut shared = share(&notes, count);
            if index >= shared.voices.len() {
                return Err(count);
            }
            let mut strand = Strand::new(shared.voices.swap_remove(index), track, def);
            strand.left_out = shared.left_out;
            Ok(strand)
        }
    }
}

/// The directions that hold for a line. Dynamics, and words, that stand at another staff or voice hold for it too
/// where it has none of its own: sources often write them once for both.
fn standing_at(track: &Track, def: &LineDef) -> Vec<Direction> {
    let Content { directions, .. } = &track.content;
    let class = |kind: &DirectionKind| match kind {
        DirectionKind::Dynamic(_) | DirectionKind::Hairpin { .. } => 0,
        DirectionKind::Playing(_) => 1,
        DirectionKind::Pedal { .. } => 2,
        DirectionKind::Words(_) => 3,
    };
    let fits = |d: &Direction| {
        def.staff.is_none_or(|s| d.staff.is_none_or(|at| at == s))
            && def.voice.is_none_or(|v| d.voice.is_none_or(|at| at == v))
    };
    let mut own = [false; 4];
    for direction in directions.iter().filter(|d| fits(d)) {
        own[class(&direction.kind)] = true;
    }
    directions.iter().filter(|d| fits(d) || !own[class(&d.kind)]).cloned().collect()
}

/// Words about who plays and how players are divided concern the source's own players.
pub(crate) fn about_players(word: &Playing) -> bool {
    use crate::axis::{Axis, axis};
    matches!(axis(word), Some(Axis::Who | Axis::Divided))
}
