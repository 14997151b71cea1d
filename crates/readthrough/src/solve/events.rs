//! What one player does at each onset: the notes that begin and those that are still held.

use ripieno_music::{Arpeggio, Clock, DirectionKind, Mark, Note, Part, Place, Playing, Timeline};
use ripieno_units::Beats;

/// An overlap of this share of the shorter note, or less, in music that was played into a machine, is legato and not two notes
/// held together.
const PLAYED_OVERLAP: f64 = 0.25;

/// One note at an onset.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Held {
    /// Index in the part's notes.
    pub note: usize,
    /// MIDI key.
    pub key: u8,
}

/// One onset of a part.
#[derive(Clone, Debug, PartialEq)]
pub struct Event {
    /// Where.
    pub at: Beats,
    /// Where, as a musician says it.
    pub place: Place,
    /// When, in seconds.
    pub seconds: f64,
    /// When the last of its new notes ends, in seconds.
    pub end: f64,
    /// Notes that begin, from the lowest; one of each key.
    pub new: Vec<Held>,
    /// Notes that were begun before and go on, from the lowest.
    pub held: Vec<Held>,
    /// It is broken: written as an arpeggio.
    pub broken: bool,
    /// One of its notes is a harmonic.
    pub harmonic: bool,
}

impl Event {
    /// All keys that sound, from the lowest.
    pub fn keys(&self) -> Vec<u8> {
        let mut keys: Vec<u8> = self.new.iter().chain(&self.held).map(|n| n.key).collect();
        keys.sort_unstable();
        keys.dedup();
        keys
    }
}

/// The onsets of a part, in order. Notes outside the keys 0 to 127 and strokes without pitch are left out.
pub fn events(part: &Part, timeline: &Timeline, clock: &Clock) -> Vec<Event> {
    let notes = &part.content.notes;
    let key = |n: &Note| n.pitch().and_then(|p| u8::try_from(p.key).ok()).filter(|k| *k < 128);
    let mut order: Vec<usize> = (0..notes.len()).filter(|i| key(&notes[*i]).is_some()).collect();
    order.sort_by_key(|i| (notes[*i].at, key(&notes[*i])));
    let mut events: Vec<Event> = Vec::new();
    let mut active: Vec<usize> = Vec::new();
    let mut i = 0;
    while i < order.len() {
        let at = notes[order[i]].at;
        let count = order[i..].iter().take_while(|n| notes[**n].at == at).count();
        let mut new: Vec<Held> = Vec::with_capacity(count);
        for note in &order[i..i + count] {
            let Some(key) = key(&notes[*note]) else { continue };
            // Two stems on one note head are one note: the longer.
            match new.last_mut() {
                Some(last) if last.key == key => {
                    if notes[*note].length > notes[last.note].length {
                        last.note = *note;
                    }
                }
                _ => new.push(Held { note: *note, key }),
            }
        }
        active.retain(|n| goes_on(&notes[*n], at, &new, notes));
        let mut held: Vec<Held> = active
            .iter()
            .filter_map(|n| key(&notes[*n]).map(|key| Held { note: *n, key }))
            .filter(|h| new.iter().all(|n| n.key != h.key))
            .filter(|h| !written_out(&notes[h.note], h.key, &new))
            .collect();
        held.sort_by_key(|h| h.key);
        held.dedup_by_key(|h| h.key);
        let all = || new.iter().map(|n| &notes[n.note]);
        events.push(Event {
            at,
            place: timeline.place(at),
            seconds: clock.seconds(at).0,
            end: all().map(|n| clock.seconds(n.end()).0).fold(f64::MIN, f64::max),
            broken: all().any(|n| matches!(n.arpeggio, Some(Arpeggio::Up | Arpeggio::Down))),
            harmonic: all().any(|n| n.marks.has(Mark::Harmonic)),
            new: new.clone(),
            held,
        });
        active.retain(|n| new.iter().all(|h| key(&notes[*n]) != Some(h.key)));
        active.extend(new.iter().map(|n| n.note));
        i += count;
    }
    events
}

/// Some sources write a trill out in a second voice, beside the note that has the sign: that is one sound.
fn written_out(note: &Note, key: u8, new: &[Held]) -> bool {
    note.ornament.is_some() && new.iter().any(|n| n.key.abs_diff(key) <= 2)
}

/// Is a note still held when others begin?
fn goes_on(note: &Note, at: Beats, new: &[Held], notes: &[Note]) -> bool {
    if note.end() <= at {
        return false;
    }
    if note.velocity.is_none() {
        return true;
    }
    let overlap = (note.end() - at).quarters();
    let shorter =
        new.iter().map(|n| notes[n.note].length).chain([note.length]).min().unwrap_or(note.length).quarters();
    overlap > PLAYED_OVERLAP * shorter
}

/// How many play, and together or divided, as the words say.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Who {
    /// Divided (`Some(true)`), not divided (`Some(false)`), or not said.
    pub divided: Option<bool>,
    /// How many, where the words say so.
    pub players: Option<u16>,
    /// Plucked.
    pub pizz: bool,
    /// Harmonics by word.
    pub harmonics: bool,
}

/// Walks through the words of a part that say who plays.
pub struct Words<'a> {
    part: &'a Part,
    next: usize,
    now: Who,
}

impl<'a> Words<'a> {
    /// From the start.
    pub fn of(part: &'a Part) -> Self {
        Self { part, next: 0, now: Who::default() }
    }

    /// What holds at a place; places must not fall from call to call.
    pub fn at(&mut self, at: Beats) -> Who {
        while let Some(direction) = self.part.content.directions.get(self.next)
            && direction.at <= at
        {
            if let DirectionKind::Playing(word) = &direction.kind {
                match word {
                    Playing::Div(_) => self.now.divided = Some(true),
                    Playing::NonDiv => self.now.divided = Some(false),
                    Playing::Unis => self.now.divided = None,
                    Playing::Solo => self.now.players = Some(1),
                    Playing::Tutti => self.now.players = None,
                    Playing::Players(set) => self.now.players = Some(set.count_ones().max(1) as u16),
                    Playing::Together(n) => self.now.players = Some(u16::from(*n).max(1)),
                    Playing::Pizz => self.now.pizz = true,
                    Playing::Arco => self.now.pizz = false,
                    Playing::Harmonics => self.now.harmonics = true,
                    Playing::Ord => self.now.harmonics = false,
                    _ => {}
                }
            }
            self.next += 1;
        }
        self.now
    }
}
