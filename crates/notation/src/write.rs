//! Whole documents: the score, and one part.

use crate::clefs::{self, Figured, Memory};
use crate::directions::{self, Spot};
use crate::header;
use crate::measure;
use crate::piece::{Piece, Pitched, Player};
use crate::rhythm::{self, Drawn, Event};
use crate::ring::Ringing;
use crate::spell::{self, WrittenKey};
use crate::voices::{self, Lane};
use crate::xml::Xml;
use ripieno_music::{Bar, Spelling, Timeline, Transposition};
use ripieno_units::Beats;

/// A player's music, laid out and ready to be written bar by bar.
pub(crate) struct Staffed<'a> {
    pub id: String,
    pub player: &'a Player<'a>,
    pub timeline: &'a Timeline,
    pub staves: u8,
    pub by: Transposition,
    pub lanes: Vec<Lane<'a>>,
    /// By lane, by bar; nothing where the lane is silent.
    pub drawn: Vec<Vec<Option<Drawn>>>,
    /// By staff, by bar.
    pub clefs: Vec<Vec<Figured>>,
    /// By bar.
    pub divisions: Vec<u32>,
    pub spots: Vec<Spot>,
    pub ringing: Ringing,
    pub strokes: Vec<(String, Spelling)>,
    pub memory: Vec<Memory>,
    /// Printed above the other parts of a score.
    pub top: bool,
    /// Printed alone: empty bars are counted together.
    pub alone: bool,
}

/// The score, in the pitch that the piece says.
pub fn score(piece: &Piece<'_>) -> String {
    let players: Vec<&Player<'_>> = piece.players.iter().collect();
    document(piece, &players, piece.pitched, false)
}

/// One player's part, transposed for the player. `index` counts the piece's players from 0; `None` beyond them.
pub fn part(piece: &Piece<'_>, index: usize) -> Option<String> {
    let player = piece.players.get(index)?;
    Some(document(piece, &[player], Pitched::Transposed, true))
}

fn document(piece: &Piece<'_>, players: &[&Player<'_>], pitched: Pitched, alone: bool) -> String {
    let mut xml = Xml::new();
    xml.open("score-partwise", &[("version", "4.0")]);
    header::write(&mut xml, piece, players, players.first().filter(|_| alone).map(|p| p.name.as_str()));
    let bars = bars(piece.timeline, players);
    let common = directions::common(piece);
    for (i, player) in players.iter().enumerate() {
        let mut staffed = Staffed::lay(piece, player, &bars, pitched, i);
        staffed.alone = alone;
        staffed.top = i == 0 && !alone;
        if i == 0 {
            staffed.spots.extend(common.iter().cloned());
        }
        directions::sort(&mut staffed.spots);
        measure::part(&mut xml, &mut staffed, &bars);
    }
    if players.is_empty() {
        empty(&mut xml);
    }
    xml.done()
}

/// A score must have a part (MusicXML 4.0, `part-list`): a cue in which nobody plays has one that rests.
fn empty(xml: &mut Xml) {
    xml.open("part", &[("id", "P1")]);
    xml.open("measure", &[("number", "1")]);
    xml.open("note", &[]);
    xml.empty("rest", &[("measure", "yes")]);
    xml.text("duration", 4);
    xml.close();
    xml.close();
    xml.close();
}

/// The bars, with as many more as notes ring over the end.
fn bars(timeline: &Timeline, players: &[&Player<'_>]) -> Vec<Bar> {
    let mut bars = timeline.bars.clone();
    let end =
        players.iter().flat_map(|p| &p.part.content.notes).map(|n| n.end()).max().unwrap_or(Beats::ZERO);
    // A damaged plan could ask for more; a bar more is the most that music does.
    const MOST: usize = 4096;
    for _ in 0..MOST {
        let Some(last) = bars.last().filter(|b| b.at + b.length < end) else { break };
        let (at, number) = (last.at + last.length, last.number + 1);
        bars.push(Bar {
            at,
            length: last.metre.bar(),
            metre: last.metre,
            number,
            printed: number.to_string(),
        });
    }
    bars
}

/// What a bar lacks before its first note: a pick-up ends with its bar.
pub(crate) fn shift(bar: &Bar, index: usize) -> Beats {
    if index == 0 && bar.number == 0 { (bar.metre.bar() - bar.length).max(Beats::ZERO) } else { Beats::ZERO }
}

impl<'a> Staffed<'a> {
    fn lay(piece: &Piece<'a>, player: &'a Player<'a>, bars: &[Bar], pitched: Pitched, index: usize) -> Self {
        let (staves, mut lanes) = voices::lay(player);
        for staff in 1..=staves {
            if lanes.iter().all(|l| l.staff != staff) {
                let at = lanes.partition_point(|l| l.staff < staff);
                lanes.insert(at, Lane { staff, voice: 4 * u16::from(staff - 1) + 1, ..Lane::default() });
            }
        }
        let instrument = player.instrument;
        let concert = pitched == Pitched::Concert;
        let written: Vec<Figured> = clefs::of_staff(instrument, 1, staves, concert);
        // A clef with a small figure says its octave itself.
        let figured = written.iter().map(|c| clefs::sign(*c).2).find(|o| *o != 0).unwrap_or(0);
        let semitones = match (instrument.unpitched, concert && instrument.transposition % 12 != 0) {
            (true, _) | (_, true) => 0,
            _ if i16::from(figured) * 12 == instrument.transposition => 0,
            _ => instrument.transposition,
        };
        let end = bars.last().map_or(Beats::ZERO, |b| b.at + b.length);
        let mut staffed = Self {
            id: format!("P{}", index + 1),
            player,
            timeline: piece.timeline,
            staves,
            by: spell::transposition(semitones),
            drawn: Vec::new(),
            clefs: Vec::new(),
            divisions: Vec::new(),
            spots: directions::own(player, staves, end),
            ringing: Ringing::of(player),
            strokes: header::strokes(player),
            memory: (0..staves).map(|_| Memory::default()).collect(),
            top: false,
            alone: false,
            lanes,
        };
        staffed.ringing.words(player, &mut staffed.spots);
        staffed.drawn = staffed.lanes.iter().map(|lane| draw(lane, bars)).collect();
        staffed.divisions = divisions(&staffed.drawn, bars, &staffed.spots);
        staffed.clefs = (1..=staves)
            .map(|staff| {
                let list = clefs::of_staff(instrument, staff, staves, concert);
                clefs::choose(&list, &staffed.heads(staff, bars))
            })
            .collect();
        staffed
    }

    /// What is written in each bar of a staff, with lengths in quarters.
    fn heads(&self, staff: u8, bars: &[Bar]) -> Vec<Vec<(Spelling, f64)>> {
        let mut heads = vec![Vec::new(); bars.len()];
        for chord in self.lanes.iter().filter(|l| l.staff == staff).flat_map(|l| &l.chords) {
            let bar = bars.partition_point(|b| b.at <= chord.at).saturating_sub(1);
            for note in &chord.notes {
                if let (Some(pitch), Some(here)) = (note.pitch(), heads.get_mut(bar)) {
                    here.push((self.written(pitch, note.written, chord.at), chord.length.quarters()));
                }
            }
        }
        heads
    }

    /// Sharps and mode that sound at a place; none where the source has no keys.
    pub fn sounding_key(&self, at: Beats) -> (i8, bool) {
        self.timeline.key_at(at).map_or((0, false), |k| (k.fifths.clamp(-7, 7), k.minor))
    }

    /// The key that is written from a bar on; an open one where the source has none.
    pub fn key(&self, bar: &Bar) -> WrittenKey {
        if self.timeline.keys.is_empty() || self.player.instrument.unpitched {
            return WrittenKey::default();
        }
        let (fifths, minor) = self.sounding_key(bar.at);
        spell::written_key(fifths, minor, self.by)
    }

    /// Does a different alteration hold for this neighbour of an ornament? Then its sign.
    pub fn differs(&self, spelled: Spelling, staff: u8) -> Option<&'static str> {
        let memory = self.memory.get(usize::from(staff.max(1)) - 1)?;
        (memory.in_force(spelled) != spelled.alter).then(|| crate::notes::accidental(spelled.alter)).flatten()
    }
}

/// A lane, bar by bar.
fn draw(lane: &Lane<'_>, bars: &[Bar]) -> Vec<Option<Drawn>> {
    let mut from = 0;
    let mut out = Vec::with_capacity(bars.len());
    for (i, bar) in bars.iter().enumerate() {
        let end = bar.at + bar.length;
        while lane.chords.get(from).is_some_and(|c| c.end() <= bar.at) {
            from += 1;
        }
        let mut events: Vec<Event> = Vec::new();
        let mut at = Beats::ZERO;
        for (id, chord) in lane.chords.iter().enumerate().skip(from).take_while(|(_, c)| c.at < end) {
            let start = (chord.at - bar.at).max(Beats::ZERO);
            let stop = (chord.end() - bar.at).min(bar.length);
            if stop <= start {
                continue;
            }
            if start > at {
                events.push(Event { from: at, to: start, id: None });
            }
            events.push(Event { from: start, to: stop, id: Some(id) });
            at = stop;
        }
        if events.is_empty() {
            out.push(None);
            continue;
        }
        if at < bar.length {
            events.push(Event { from: at, to: bar.length, id: None });
        }
        let grids = rhythm::grids(bar.metre.beats, bar.metre.unit);
        out.push(Some(rhythm::draw(&events, &grids, shift(bar, i))));
    }
    out
}

/// Divisions of a quarter by bar: one number for all where that is not too large.
fn divisions(drawn: &[Vec<Option<Drawn>>], bars: &[Bar], spots: &[Spot]) -> Vec<u32> {
    /// Beyond this each bar has its own.
    const COMMON: u64 = 100_000;
    const MOST: u64 = (1 << 31) - 1;
    let lcm = |a: u64, b: u64| -> u64 {
        let (mut x, mut y) = (a, b);
        while y != 0 {
            (x, y) = (y, x % y);
        }
        (a / x.max(1)).saturating_mul(b)
    };
    let mut own: Vec<u64> = Vec::with_capacity(bars.len());
    for (i, bar) in bars.iter().enumerate() {
        let mut all = bar.length.denominator().unsigned_abs();
        // A whole bar must have a length below 2^31, as readers need.
        let quarters = bar.length.quarters().max(1.0).ceil() as u64;
        let most = MOST / quarters;
        let mut add = |x: Beats| {
            let next = lcm(all, x.denominator().unsigned_abs());
            if next <= most {
                all = next;
            }
        };
        let here = || drawn.iter().filter_map(|d| d.get(i)?.as_ref());
        // Where notes begin and end comes first; where their tied pieces meet may be rounded if need be.
        for bar in here() {
            for (n, piece) in bar.pieces.iter().enumerate() {
                if n == 0 || bar.pieces[n - 1].event != piece.event {
                    add(piece.at);
                }
            }
        }
        // What a value does not say, and by how much.
        let mut off: Vec<Beats> = Vec::new();
        for bar in here() {
            for piece in &bar.pieces {
                add(piece.at);
                // Twice, for tremolos between two notes.
                add(piece.length.scaled(1, 2));
                let by = rhythm::said(piece, &bar.tuplets) - piece.length;
                if by != Beats::ZERO {
                    off.push(if by < Beats::ZERO { -by } else { by });
                }
            }
        }
        // Readers may take a value for meant that is only a division away: then it lies two away.
        let least = off.into_iter().min();
        while least.is_some_and(|by| by.scaled(all as i64, 1) < Beats::whole(2)) && 2 * all <= most {
            all *= 2;
        }
        own.push(all);
    }
    let mut common = own.iter().fold(1, |a, b| lcm(a, *b).min(MOST + 1));
    if common > COMMON {
        return own.into_iter().map(|d| d as u32).collect();
    }
    for spot in spots {
        let next = lcm(common, spot.at.denominator().unsigned_abs());
        if next <= COMMON {
            common = next;
        }
    }
    vec![common as u32; bars.len()]
}
