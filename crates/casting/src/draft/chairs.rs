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

/// What is guessed of a track, before ids are given out.
struct Guessed {
    track: usize,
    base: String,
    known: Known,
    doubts: Vec<String>,
}

/// One chair for each track that has notes, in the order of the score.
pub(super) fn seats(score: &Score) -> Vec<Seat> {
    let mut guesses = table::recognise(score);
    if let Some(guess) = table::sole_singer(score).and_then(|index| guesses.get_mut(index)) {
        *guess = table::singer();
    }
    let mut all: Vec<Guessed> = Vec::new();
    for (index, track) in score.tracks.iter().enumerate() {
        if !track.content.notes.is_empty() {
            all.push(guessed(index, track, guesses.get_mut(index).and_then(Option::take)));
        }
    }
    let chamber =
        (1..=MOST_SOLOISTS).contains(&all.len()) && all.iter().all(|g| table::is_bowed(&g.known.instrument));
    if chamber {
        for one in &mut all {
            one.known.players = 1;
            one.base = table::one_player(&one.known.instrument, &one.base);
        }
    }
    let bases: Vec<String> = all.iter().map(|g| g.base.clone()).collect();
    let mut seats: Vec<Seat> = Vec::new();
    for Guessed { track, base, known, doubts } in all {
        let mut comments = Vec::new();
        let mut players = known.players;
        let id = free_id(&base, &known.articulations, &seats, &bases);
        let sharing = bases.iter().filter(|b| **b == base).count();
        if sharing > 1 && known.articulations.is_empty() && players > 1 {
            // Divided on staves of their own: together they are one section.
            players = (players / u16::try_from(sharing).unwrap_or(u16::MAX)).max(1);
            comments.push(format!(
                "one of {sharing} tracks of one section, which share its {} players",
                known.players
            ));
        } else if id != base {
            comments.push(format!(
                "the same players as {base}, on a track of their own{}; `col` and marks can make one chair of them",
                said(&known.articulations)
            ));
        } else if !known.articulations.is_empty() {
            comments.push(format!("the name of its track also says: {}", known.articulations.join(", ")));
        } else if chamber {
            comments
                .push("one player: few strings and nobody else; a string orchestra has sections".to_owned());
        }
        let name = match score.tracks[track].own_name() {
            Some(name) => name.split_whitespace().collect::<Vec<_>>().join(" "),
            None => table::called(&known.instrument, players).map_or_else(String::new, |(name, _)| name),
        };
        seats.push(Seat {
            id,
            track,
            line_track: track_word(score, track),
            instrument: known.instrument,
            players,
            name,
            comments,
            doubts,
        });
    }
    tell_apart(&mut seats);
    seats
}

/// Tracks that no chair of the template plays: lines, named after their tracks.
pub(super) fn lines_of(score: &Score, seats: &[Seat], others: Vec<Seat>) -> Vec<Seat> {
    let mut lines: Vec<Seat> = Vec::new();
    for mut line in others {
        let name = slug(&score.tracks[line.track].name);
        let base = if name.is_empty() { line.id.clone() } else { name };
        let free = |id: &String| seats.iter().chain(&lines).all(|s| s.id != *id);
        let more = (2u32..).map(|n| format!("{base}-{n}"));
        line.id = std::iter::once(base.clone()).chain(more).find(free).unwrap_or(base);
        line.comments.clear();
        line.doubts = vec![
            "no chair of the template is this track; it is a line of this name, to be given to chairs"
                .to_owned(),
        ];
        lines.push(line);
    }
    lines
}

/// Two chairs of one name are told apart: a soloist says so, and others of that name are counted.
fn tell_apart(seats: &mut [Seat]) {
    let shared = |seats: &[Seat], i: usize| {
        !seats[i].name.is_empty() && seats.iter().filter(|s| s.name == seats[i].name).count() > 1
    };
    let solo = |seat: &Seat| seat.id.starts_with("solo-") && !seat.name.to_lowercase().contains("solo");
    let soloists: Vec<usize> = (0..seats.len()).filter(|i| solo(&seats[*i]) && shared(seats, *i)).collect();
    for i in soloists {
        seats[i].name.push_str(" solo");
    }
    for i in 0..seats.len() {
        let name = seats[i].name.clone();
        let mut count = 2;
        for j in i + 1..seats.len() {
            if name.is_empty() || seats[j].name != name {
                continue;
            }
            while seats.iter().any(|s| s.name == format!("{name} ({count})")) {
                count += 1;
            }
            seats[j].name = format!("{name} ({count})");
        }
    }
}

/// Up to a sextet, strings alone are soloists.
const MOST_SOLOISTS: usize = 6;

fn guessed(index: usize, track: &Track, known: Option<Known>) -> Guessed {
    let mut doubts = Vec::new();
    let known = known.unwrap_or_else(|| {
        let known = nearest(track);
        doubts.push(match track.own_name() {
            None => format!("its track has no name; taken for {} by its notes", known.instrument),
            Some(name) => format!(
                "no instrument is known by the name \"{name}\"; taken for {} by its notes",
                known.instrument
            ),
        });
        known
    });
    doubts.extend(known.doubt.clone());
    let base = slug(&known.chair);
    let base = if base.is_empty() { format!("track-{}", index + 1) } else { base };
    Guessed { track: index, base, known, doubts }
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

/// The first track of a kind has the plain id; the others are told apart by what their names say of articulation, else by
/// letters, so that `violins-2` is never a second staff of `violins`.
fn free_id(base: &str, articulations: &[String], seats: &[Seat], bases: &[String]) -> String {
    let free = |id: &str| !seats.iter().any(|s| s.id == id);
    if free(base) {
        return base.to_owned();
    }
    let unspoken = |id: &str| free(id) && !bases.iter().any(|b| b == id);
    let spoken = slug(&articulations.join("-"));
    let by_name = (!spoken.is_empty()).then(|| spoken.trim_start_matches("track-").to_owned());
    by_name
        .into_iter()
        .chain(('b'..='z').map(|c| c.to_string()))
        .chain((27u32..).map(|n| n.to_string()))
        .map(|end| format!("{base}-{end}"))
        .find(|id| unspoken(id))
        .unwrap_or_default()
}

/// What could play the notes, where the name says nothing.
fn nearest(track: &Track) -> Known {
    let notes = &track.content.notes;
    let keys: Vec<i16> = notes.iter().filter_map(Note::pitch).map(|p| p.key).collect();
    let known = |instrument: &str, players| Known {
        instrument: instrument.to_owned(),
        chair: match track.own_name() {
            Some(name) => name.to_owned(),
            None => table::called(instrument, players).map_or_else(String::new, |(_, chair)| chair),
        },
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
