//! Gestures as single notes: strokes of a realisation one by one, voices as chains of joined notes.

use ripieno_music::{ChairPerformance, Colour, Gesture, Stroke, Sung};

/// One note.
#[derive(Clone, Debug)]
pub struct Note<'a> {
    /// Seconds.
    pub onset: f64,
    /// Seconds, after the onset.
    pub end: f64,
    /// Pitch in cents above A4.
    pub cents: f64,
    /// Its key.
    pub key: u8,
    /// What is struck.
    pub stroke: Option<&'a str>,
    /// Level of the attack, dB re mf.
    pub attack: f64,
    /// How far its strokes stand off the chair's level, dB.
    pub offset: f64,
    /// Name of the articulation.
    pub articulation: &'a str,
    /// Colour.
    pub colour: Option<Colour>,
    /// Without a new attack.
    pub joined: bool,
    /// A note follows without a new attack.
    pub joins_on: bool,
    /// Seconds that the pitch takes from the note before.
    pub glide: f64,
    /// Seconds from the onset, cents.
    pub bend: Vec<(f64, f64)>,
    /// What is sung.
    pub sung: Option<&'a Sung>,
    /// Voice in the chair.
    pub voice: u16,
    /// Players.
    pub players: u16,
}

/// How long the pitch of a trill or a run takes to change: winds change in 10 to 30 ms.
const QUICK: f64 = 0.010;

/// All notes of a chair, in order of onset.
pub fn of(chair: &ChairPerformance) -> Vec<Note<'_>> {
    let mut notes: Vec<Note<'_>> = Vec::new();
    for gesture in &chair.gestures {
        match &gesture.realisation {
            // A slide by bend is one note.
            Some(realisation) if gesture.bend.is_empty() && !realisation.strokes.is_empty() => {
                let last = realisation.strokes.len() - 1;
                for (i, stroke) in realisation.strokes.iter().enumerate() {
                    let mut note = whole(chair, gesture);
                    place(&mut note, gesture, stroke);
                    note.joined = if i == 0 { gesture.joined } else { stroke.joined };
                    note.joins_on =
                        if i == last { gesture.joins_on } else { realisation.strokes[i + 1].joined };
                    note.glide = if i == 0 { gesture.glide.0 } else { QUICK };
                    note.offset = (stroke.attack.0 - chair.level.at(stroke.onset)).clamp(-6.0, 6.0);
                    note.attack = stroke.attack.0;
                    notes.push(note);
                }
            }
            _ => notes.push(whole(chair, gesture)),
        }
    }
    notes.retain(|n| {
        let numbers = [n.onset, n.end, n.cents, n.attack, n.glide];
        numbers.iter().all(|x| x.is_finite() && x.abs() < 1e7) && n.end > n.onset
    });
    notes.sort_by(|a, b| a.onset.total_cmp(&b.onset).then(a.key.cmp(&b.key)));
    notes
}

fn whole<'a>(chair: &ChairPerformance, gesture: &'a Gesture) -> Note<'a> {
    let bend = gesture.bend.iter().map(|(t, c)| (t.0, *c));
    Note {
        onset: gesture.onset.0,
        end: gesture.end.0,
        cents: cents(gesture.key, gesture.cents),
        key: gesture.key,
        stroke: gesture.stroke.as_deref(),
        attack: gesture.attack.0,
        offset: 0.0,
        articulation: &gesture.articulation,
        colour: gesture.colour,
        joined: gesture.joined,
        joins_on: gesture.joins_on,
        glide: gesture.glide.0,
        bend: bend.filter(|(t, c)| t.is_finite() && c.abs() < 1e4).collect(),
        sung: gesture.sung.as_ref(),
        voice: gesture.voice,
        players: gesture.players.clamp(1, chair.players.max(1)),
    }
}

fn place(note: &mut Note<'_>, gesture: &Gesture, stroke: &Stroke) {
    note.onset = stroke.onset.0;
    note.end = stroke.end.0;
    note.key = stroke.key;
    note.cents = cents(stroke.key, gesture.cents);
}

fn cents(key: u8, above: f64) -> f64 {
    100.0 * (f64::from(key.min(127)) - 69.0) + above.clamp(-1200.0, 1200.0)
}

/// Longest silence that a join may bridge, seconds.
pub const BRIDGE: f64 = 0.150;

/// Notes as chains: in a chain, all but the first are joined to the one before. In order of the chains' onsets.
pub fn chains(notes: Vec<Note<'_>>) -> Vec<Vec<Note<'_>>> {
    let mut chains: Vec<Vec<Note<'_>>> = Vec::new();
    // Where the last chain of each voice stands.
    let mut open: std::collections::BTreeMap<u16, usize> = std::collections::BTreeMap::new();
    for note in notes {
        let goes_on = open.get(&note.voice).copied().filter(|i| {
            let last = &chains[*i][chains[*i].len() - 1];
            note.joined && note.onset > last.onset + 1e-4 && note.onset - last.end < BRIDGE
        });
        match goes_on {
            Some(i) => chains[i].push(note),
            None => {
                open.insert(note.voice, chains.len());
                chains.push(vec![note]);
            }
        }
    }
    chains
}
