//! Chairs guessed from the tracks of a score.

use crate::lines::find_track;
use crate::table::{self, Known};
use ripieno_music::{Dynamic, Note, NoteKind, Score, Track, words};

/// A chair of the draft.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Seat {
    pub(super) id: String,
    /// Index of its track.
    pub(super) track: usize,
    /// What names the track in `[lines]`.
    pub(super) line_track: String,
    pub(super) instrument: String,
    pub(super) players: u16,
    /// As printed.
    pub(super) name: String,
    /// Said beside it.
    pub(super) comments: Vec<String>,
    /// What it was guessed by, where it is not sure.
    pub(super) doubts: Vec<String>,
}

/// One chair for each track that has notes, in the order of the score.
pub(super) fn seats(score: &Score) -> Vec<Seat> {
    let mut seats: Vec<Seat> = Vec::new();
    let mut guesses = table::recognise(score);
    for (index, track) in score.tracks.iter().enumerate() {
        if track.content.notes.is_empty() {
            continue;
        }
        let mut doubts = Vec::new();
        let mut comments = Vec::new();
        let known = guesses.get_mut(index).and_then(Option::take).unwrap_or_else(|| {
            let known = nearest(track);
            doubts.push(if track.name.trim().is_empty() {
                format!("its track has no name; taken for {} by its notes", known.instrument)
            } else {
                format!(
                    "no instrument is known by the name \"{}\"; taken for {} by its notes",
                    track.name.trim(),
                    known.instrument
                )
            });
            known
        });
        if let Some(doubt) = &known.doubt {
            doubts.push(doubt.clone());
        }
        let base = slug(&known.chair);
        let base = if base.is_empty() { format!("track-{}", index + 1) } else { base };
        let id = free_id(&base, &known.articulations, &seats);
        if id != base {
            comments.push(format!(
                "the same players as {base}, on a track of their own{}; `col` and marks can make one chair of them",
                said(&known.articulations)
            ));
        } else if !known.articulations.is_empty() {
            comments.push(format!("the name of its track also says: {}", known.articulations.join(", ")));
        }
        seats.push(Seat {
            id,
            track: index,
            line_track: track_word(score, index),
            instrument: known.instrument,
            players: known.players,
            name: track.name.split_whitespace().collect::<Vec<_>>().join(" "),
            comments,
            doubts,
        });
    }
    seats
}

fn said(articulations: &[String]) -> String {
    if articulations.is_empty() { String::new() } else { format!(" ({})", articulations.join(", ")) }
}

/// The name if it names this track alone, else its id, else its place in the file.
fn track_word(score: &Score, index: usize) -> String {
    let track = &score.tracks[index];
    let here = |word: &str| find_track(score, word).is_ok_and(|t| std::ptr::eq(t, track));
    let name = track.name.trim();
    if !name.is_empty() && here(name) {
        return name.to_owned();
    }
    let id = track.id.trim();
    if !id.is_empty() && here(id) { id.to_owned() } else { format!("#{}", index + 1) }
}

/// Letters, digits and hyphens, beginning with a letter, and no word of the shorthand.
fn slug(text: &str) -> String {
    let mut slug = String::new();
    for c in text.to_lowercase().chars() {
        let plain = match c {
            'a'..='z' | '0'..='9' => Some(c),
            'ä' | 'à' | 'á' | 'â' => Some('a'),
            'ö' | 'ò' | 'ó' | 'ô' => Some('o'),
            'ü' | 'ù' | 'ú' | 'û' => Some('u'),
            'é' | 'è' | 'ê' | 'ë' => Some('e'),
            'í' | 'ì' | 'î' | 'ï' => Some('i'),
            'ç' => Some('c'),
            'ñ' => Some('n'),
            _ => None,
        };
        match plain {
            Some(c) => slug.push(c),
            None if !slug.is_empty() && !slug.ends_with('-') => slug.push('-'),
            None => {}
        }
    }
    let slug = slug.trim_matches('-').chars().take(40).collect::<String>().trim_matches('-').to_owned();
    if slug.is_empty() {
        return slug;
    }
    let spoken = slug.replace('-', " ");
    let reserved = ["col", "as written", "tacet", "from", "to", "words", "div"].contains(&spoken.as_str())
        || spoken.starts_with("col ")
        || words::mark(&spoken).is_some()
        || Dynamic::parse(&spoken).is_some();
    if reserved || !slug.starts_with(|c: char| c.is_ascii_lowercase()) {
        format!("track-{slug}")
    } else {
        slug
    }
}

fn free_id(base: &str, articulations: &[String], seats: &[Seat]) -> String {
    let free = |id: &str| !seats.iter().any(|s| s.id == id);
    if free(base) {
        return base.to_owned();
    }
    let spoken = slug(&articulations.join("-"));
    if !spoken.is_empty() {
        let id = format!("{base}-{}", spoken.trim_start_matches("track-"));
        if free(&id) {
            return id;
        }
    }
    // After a number, a letter: `violins-1-b`.
    let numbered = base.ends_with(|c: char| c.is_ascii_digit());
    let letters = ('b'..='z').map(|c| c.to_string()).take(if numbered { 25 } else { 0 });
    letters
        .chain((2u32..).map(|n| n.to_string()))
        .map(|end| format!("{base}-{end}"))
        .find(|id| free(id))
        .unwrap_or_default()
}

/// What could play the notes, where the name says nothing.
fn nearest(track: &Track) -> Known {
    let notes = &track.content.notes;
    let keys: Vec<i16> = notes.iter().filter_map(Note::pitch).map(|p| p.key).collect();
    let chair = track.name.clone();
    let known = |instrument: &str, players| Known {
        instrument: instrument.to_owned(),
        chair: chair.clone(),
        players,
        articulations: Vec::new(),
        doubt: None,
    };
    let (Some(low), Some(high)) = (keys.iter().min(), keys.iter().max()) else {
        let stroke = notes.iter().find_map(|n| match &n.kind {
            NoteKind::Unpitched { stroke } if table::exists(stroke) => Some(stroke.as_str()),
            _ => None,
        });
        return known(stroke.unwrap_or(table::ANY_DRUM), 1);
    };
    let chords = notes.windows(2).any(|w| w[0].at == w[1].at);
    table::by_range(*low, *high, chords)
        .map_or_else(|| known(table::ANY_KEYS, 1), |(id, players)| known(id, players))
}
