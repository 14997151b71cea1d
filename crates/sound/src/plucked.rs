//! Plucked and hammered strings: partials of a stiff string, each with its own fall, and the noise of what plucks it.
//!
//! Partial n lies at n f0 sqrt(1 + B n^2) (Fletcher and Rossing, The Physics of Musical Instruments); f0 is such that the first
//! is in tune. A pluck at the share p of the string gives it sin(n pi p); a string that falls in two stages (G. Weinreich, Coupled
//! piano strings, 1977) has each partial twice, the second softer and slower.

use crate::Frame;
use crate::bank::Mode;
use crate::body::{Act, Blow, Body, Make};
use crate::facts::{Common, Row, at_key, common, fall, harder, is_damped, rows, span};
use crate::notes::Note;
use crate::stage::Stage;
use ripieno_instruments::{Instrument, by_id};
use ripieno_music::{Colour, named};
use ripieno_units::{Chance, math};
use std::collections::BTreeMap;
use std::f64::consts::PI;

static PLUCKED: &str = include_str!("../data/plucked.tsv");

/// Players that stand for a section.
const STAND_FOR: u16 = 5;

/// Partials this far below the loudest are left out, dB.
const FAINT: f64 = -66.0;

/// Partials above this number fall in one stage: the slow one lies under those below.
const TWO_STAGES: f64 = 12.0;

/// The plucked notes of a chair, string by string.
pub struct Runner {
    strings: Vec<Body>,
}

impl crate::Runner for Runner {
    fn run(&mut self, until: i64, stage: &mut Stage) {
        self.strings.iter_mut().for_each(|s| s.run(until, stage));
    }
}

/// How a string is made to sound: strings of one key and one way are one string.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub enum Way {
    /// As usual.
    #[default]
    Plain,
    /// With the wood of the bow.
    Wood,
    /// A finger on the middle of the string.
    Harmonic,
    /// Near the bridge or the table.
    Near,
    /// Over the fingerboard, or at the middle of the string.
    Far,
    /// With a mute.
    Muted,
}

impl Way {
    /// Of a colour and an articulation.
    pub fn of(colour: Option<Colour>, articulation: &str) -> Self {
        match colour {
            Some(Colour::ColLegno) => Self::Wood,
            Some(Colour::Harmonics) => Self::Harmonic,
            Some(Colour::SulPont) => Self::Near,
            Some(Colour::SulTasto) => Self::Far,
            Some(Colour::ConSord | Colour::Stopped) => Self::Muted,
            _ if articulation.contains("table") => Self::Near,
            _ => Self::Plain,
        }
    }

    /// Octaves that it is brighter than usual.
    fn brighter(self) -> f64 {
        match self {
            Self::Muted => -0.7,
            Self::Near => 0.5,
            Self::Far => -0.6,
            Self::Harmonic => -0.8,
            Self::Wood => 0.8,
            Self::Plain => 0.0,
        }
    }
}

/// How hard a note is plucked, in octaves of brightness, and how much noisier than usual, in dB.
pub fn pluck(way: Way, articulation: &str) -> (f64, f64) {
    let snap = articulation == named::SNAP_PIZZICATO;
    let hard = way.brighter() + harder(articulation) + if snap { 1.6 } else { 0.0 };
    let noise = match way {
        _ if snap => 16.0,
        Way::Wood => 12.0,
        _ => 0.0,
    };
    (hard, noise)
}

/// The rows of an instrument, with those of others of its family where it has none.
pub fn table(instrument: Option<&Instrument>) -> Vec<Row> {
    rows(PLUCKED, instrument)
}

/// Plays these notes on the strings of an instrument. Notes on one key share its string, which goes on ringing when it is
/// plucked again.
pub fn runner(frame: Frame<'_>, id: &str, notes: Vec<Note<'_>>) -> Runner {
    let instrument = by_id(id);
    let rows = rows(PLUCKED, instrument);
    // A bent string is one of its own: what rings beside it is not bent.
    let mut strings: BTreeMap<(u8, Way, bool, i32, u16), Vec<&Note<'_>>> = BTreeMap::new();
    for note in &notes {
        let way = Way::of(note.colour, note.articulation);
        let cents = whole_cents(note.cents, note.key);
        let players = if frame.plain() { 1 } else { note.players.clamp(1, STAND_FOR) };
        strings.entry((note.key, way, !note.bend.is_empty(), cents, players)).or_default().push(note);
    }
    let mut all = Vec::new();
    for ((key, way, _, cents, count), notes) in strings {
        for player in 0..count {
            let name = format!("{key}/{way:?}/{player}");
            let chance = |place: &str| {
                Chance::named(frame.options.seed, &[frame.chair.chair.as_str(), "string", &name, place])
            };
            let one = Player { number: player, of: count, cents: cents.into() };
            all.extend(string(&frame, instrument, &rows, &notes, way, one, chance));
        }
    }
    Runner { strings: all }
}

/// One of those who stand for a section.
#[derive(Clone, Copy, Debug)]
struct Player {
    number: u16,
    of: u16,
    /// Pitch of the string above A4.
    cents: f64,
}

/// Where a note stands, as a name: what is left to chance in it is drawn under it.
pub fn place(note: &Note<'_>) -> String {
    format!("{:.4}/{}", note.onset, note.voice)
}

/// Whole cents above A4: what lies as near as that to each other is one string, one bar. No ear tells them apart.
pub fn whole_cents(cents: f64, key: u8) -> i32 {
    if key == 0 { 0 } else { (cents + 0.5).floor() as i32 }
}

fn string(
    frame: &Frame<'_>,
    instrument: Option<&Instrument>,
    rows: &[Row],
    notes: &[&Note<'_>],
    way: Way,
    player: Player,
    chance: impl Fn(&str) -> Chance,
) -> Option<Body> {
    let key = notes.first()?.key;
    let common = common(rows, key, None);
    let damp = common.damp;
    // As many players above the pitch as below it.
    let side = f64::from(player.number) - 0.5 * f64::from(player.of - 1);
    let mut own = chance("");
    let detune = if player.of > 1 { side * 4.0 + own.normal(1.5).clamp(-3.0, 3.0) } else { 0.0 };
    let share = math::sqrt(1.0 / f64::from(player.of));
    let hand = damp.unwrap_or_else(|| hand(rows, key));
    let mut acts: Vec<(i64, Act)> = Vec::new();
    for note in notes {
        let mut chance = chance(&place(note));
        let late = if player.of > 1 { chance.normal(0.013).clamp(-0.028, 0.028) } else { 0.0 };
        let stronger = if player.of > 1 { chance.normal(1.2).clamp(-3.0, 3.0) } else { 0.0 };
        let (harder, hiss) = pluck(way, note.articulation);
        let blow = Blow {
            rms: share * frame.amplitude(common.forte, note.attack + stronger, note.players),
            level: note.attack + stronger,
            harder,
            keeps: common.keeps,
            every: None,
            hiss,
            bend: (!note.bend.is_empty()).then(|| (note.onset + late, note.bend.clone())),
            seed: chance.bits(),
        };
        acts.push((frame.at(note.onset + late), Act::Strike(blow)));
        if damp.is_some() || is_damped(note.articulation) {
            let end = pedalled(frame, note.end) + late.max(0.0);
            // Not while a finger holds it again.
            if !notes.iter().any(|n| n.onset < end - 1e-4 && end < n.end - 1e-4) {
                acts.push((frame.at(end), Act::Damp(hand)));
            }
        }
    }
    // At one frame, hands are laid on before the next pluck.
    acts.sort_by_key(|a| (a.0, matches!(a.1, Act::Strike(_))));
    let hertz = frame.hertz(player.cents + detune);
    let make = make(frame, instrument, rows, key, hertz, way, common, &mut own);
    Body::new(frame, player.number.into(), make, acts)
}

/// What a string is made of.
#[allow(clippy::too_many_arguments)] // a string, plainly
pub fn make(
    frame: &Frame<'_>,
    instrument: Option<&Instrument>,
    rows: &[Row],
    key: u8,
    hertz: f64,
    way: Way,
    mut common: Common,
    chance: &mut Chance,
) -> Make {
    let modes = partials(frame, instrument, rows, key, hertz, way, &common.mallet, chance);
    // Noise is told beside the loudest partial of a pluck at mf.
    let loudest = modes.iter().map(|m| m.amplitude.abs() * common.mallet.usual(m.hertz)).fold(0.0, f64::max);
    common.hisses.iter_mut().for_each(|h| h.level *= loudest);
    Make { modes, hisses: common.hisses, noisy: false, mallet: common.mallet, sharp: common.sharp }
}

/// Seconds of the fall when a hand is laid on a string that rings on by nature.
pub fn hand(rows: &[Row], key: u8) -> f64 {
    rows.iter().find(|r| r.what == "hand").map_or(0.2, |r| at_key(r.value, key, 0.2))
}

/// When a note is damped: at its end, or when the pedal comes up.
pub fn pedalled(frame: &Frame<'_>, end: f64) -> f64 {
    frame.chair.pedal.iter().find(|(down, up)| down.0 <= end && end < up.0).map_or(end, |(_, up)| up.0)
}

/// What a body of wood does to a partial: bumps of so many dB about so many hertz.
fn wood(rows: &[Row], hertz: f64) -> f64 {
    let decibels: f64 = rows
        .iter()
        .filter(|r| r.what == "body")
        .map(|r| {
            let [centre, octaves] = span(r.value, 1.0);
            let x = math::log2(hertz / centre.max(1.0)) / octaves.max(0.05);
            at_key(r.level, 60, 0.0) * math::exp(-2.0 * x * x)
        })
        .sum();
    math::pow(10.0, decibels / 20.0)
}

#[allow(clippy::too_many_arguments)] // a string, plainly
fn partials(
    frame: &Frame<'_>,
    instrument: Option<&Instrument>,
    rows: &[Row],
    key: u8,
    hertz: f64,
    way: Way,
    mallet: &crate::body::Mallet,
    chance: &mut Chance,
) -> Vec<Mode> {
    let find = |what: &str| rows.iter().find(|r| r.what == what);
    let at = |what: &str, column: fn(&Row) -> &'static str, otherwise: f64| {
        find(what).map_or(otherwise, |r| at_key(column(r), key, otherwise))
    };
    let given = at("fall", |r| r.value, 2.0);
    let first = fall(instrument, key, given) * if way == Way::Wood { 0.3 } else { 1.0 };
    let top = at("high", |r| r.value, 0.5).min(first);
    let curve = at("high", |r| r.share, 1.0);
    let stiff = at("stiff", |r| r.value, 0.0).clamp(0.0, 0.05) * if way == Way::Harmonic { 4.0 } else { 1.0 };
    let pick = match way {
        Way::Near => 0.06,
        Way::Far => 0.42,
        Way::Wood => 0.2,
        _ => at("pick", |r| r.value, 0.2),
    };
    let slope = at("pick", |r| r.level, -6.0);
    let after = find("after");
    let open = hertz / math::sqrt(1.0 + stiff);
    let mut modes: Vec<Mode> = Vec::new();
    let mut loudest = 0.0_f64;
    for n in 1..=400_u16 {
        let n = f64::from(n);
        let f = n * open * math::sqrt(1.0 + stiff * n * n);
        if f > (0.45 * frame.rate).min(20_000.0) {
            break;
        }
        // The comb of the place is never quite empty: the finger has a width, the string two directions.
        let comb = math::sin(n * PI * pick);
        let comb = if comb < 0.0 { comb - 0.06 } else { comb + 0.06 };
        let amplitude = comb * math::pow(10.0, slope * math::log2(n) / 20.0) * wood(rows, f);
        // As bright as a stroke can be: what is faint then is faint always.
        let heard = amplitude.abs() * mallet.most(f);
        loudest = loudest.max(heard);
        if heard < loudest * math::pow(10.0, FAINT / 20.0) && n > 8.0 {
            continue;
        }
        // Losses grow with frequency: 1/T = 1/T1 + (f/4 kHz)^curve / T(4 kHz).
        let loss = |hz: f64| math::pow(hz / 4000.0, curve);
        let fall =
            1.0 / (1.0 / first + (loss(f) - loss(hertz)).max(0.0) * (1.0 / top - 1.0 / first).max(0.0));
        match after {
            Some(row) if n <= TWO_STAGES => {
                let gain = math::pow(10.0, at_key(row.level, key, -20.0) / 20.0);
                // Both together have fallen by 60 dB after `fall`.
                let prompt = fall * at_key(row.share, key, 0.5);
                let slow = fall * 6.907_755 / math::ln(1000.0 * gain / (1.0 + gain)).max(3.0);
                let cents = at_key(row.value, key, 0.0);
                let apart = if frame.plain() { 0.0 } else { cents * chance.between(-1.0, 1.0) };
                modes.push(Mode { hertz: f, amplitude, fall: prompt, rise: 0.0 });
                let hertz = f * math::exp2(apart / 1200.0);
                modes.push(Mode { hertz, amplitude: amplitude * gain, fall: slow, rise: 0.0 });
            }
            _ => modes.push(Mode { hertz: f, amplitude, fall, rise: 0.0 }),
        }
    }
    // What else is knocked by the stroke: the soundboard, the body, at its own pitch.
    for row in rows.iter().filter(|r| r.what == "fixed") {
        let amplitude = loudest * math::pow(10.0, at_key(row.level, key, -20.0) / 20.0);
        let fall = at_key(row.share, key, 0.1);
        modes.push(Mode { hertz: at_key(row.value, key, 200.0), amplitude, fall, rise: 0.0 });
    }
    modes
}
