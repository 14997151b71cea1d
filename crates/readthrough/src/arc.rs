//! How the cue grows: by bar. An estimate, as all that is computed from loudness.

use crate::Table;
use crate::heard::balance::Balance;
use crate::heard::lines::Span;
use rayon::prelude::*;
use ripieno_hearing::{cam, phons, specific_loudness};
use ripieno_instruments::Family;
use std::collections::{BTreeMap, BTreeSet};

/// The arc of a cue.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Arc {
    /// One for each bar of the timeline, in order.
    pub bars: Vec<ArcBar>,
    /// First entrance and last note of every chair that plays, in score order.
    pub chairs: Vec<Presence>,
    /// The same by family.
    pub families: Vec<Presence>,
    /// The climax.
    pub climax: Option<Climax>,
}

/// One bar.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ArcBar {
    /// Its number.
    pub bar: i32,
    /// Its start in seconds.
    pub seconds: f64,
    /// Predicted loudness at the listener, sones, on average over the bar, reverberation included.
    pub sones: f64,
    /// The same as a loudness level, phons.
    pub phons: f64,
    /// Lowest and highest sounding key.
    pub span: Option<(u8, u8)>,
    /// Most players that sound at once.
    pub players: u32,
    /// Brightness: centre of the specific loudness, on the ERB-number scale (Cams).
    pub brightness: f64,
    /// Onsets a second, all chairs together.
    pub density: f64,
    /// Chairs of the cue that have not played yet: held in reserve.
    pub reserve: Vec<String>,
}

/// From when to when somebody plays.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Presence {
    /// The chair or the family.
    pub who: String,
    /// Bar of the first note.
    pub from_bar: i32,
    /// Bar in which the last note ends.
    pub to_bar: i32,
    /// Bars in which it plays.
    pub bars: u32,
}

/// Where it is loudest.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Climax {
    /// The bar.
    pub bar: i32,
    /// Its loudness, sones.
    pub sones: f64,
    /// By how much its loudness exceeds the loudest bar of all passages before its own, as a factor; 1 where it does not.
    pub exceeds: f64,
    /// Chairs that are heard for the first time between the start of the passage of the climax and the climax itself. Who
    /// begins the piece does not enter for it.
    pub enters: Vec<String>,
    /// Chairs that come back there after a silence of more than 8 bars.
    pub returns: Vec<String>,
}

/// A silence of so many bars makes an entrance an entrance again.
const SILENCE: i32 = 8;

/// The arc of what is heard.
pub(crate) fn trace(balance: &Balance<'_>, passages: &[Span]) -> Arc {
    let table = balance.table;
    let scale = &balance.ear.scale;
    // Loudness and brightness of every slot.
    let heard: Vec<(f64, f64)> = balance
        .totals
        .par_iter()
        .map(|total| {
            let (mut sones, mut weighed) = (0.0, 0.0);
            for (specific, hertz) in specific_loudness(scale, total).zip(scale.hertz()) {
                sones += specific;
                weighed += specific * cam(hertz);
            }
            (sones * scale.step(), if sones > 0.0 { weighed / sones } else { 0.0 })
        })
        .collect();
    let mut bars: Vec<ArcBar> = table
        .timeline
        .bars
        .iter()
        .map(|bar| ArcBar { bar: bar.number, seconds: table.clock.seconds(bar.at).0, ..ArcBar::default() })
        .collect();
    let mut onsets = vec![0_u32; bars.len()];
    let mut lengths = vec![0.0; bars.len()];
    // By desk: bars in which it sounds.
    let mut plays: Vec<BTreeSet<i32>> = vec![BTreeSet::new(); table.desks.len()];
    for (k, slot) in balance.slots.iter().enumerate() {
        let Some(bar) = bars.get_mut(slot.bar) else { continue };
        let (sones, brightness) = heard[k];
        let length = slot.length();
        bar.sones += sones * length;
        bar.brightness += brightness * sones * length;
        lengths[slot.bar] += length;
        let mut players: BTreeMap<u16, u32> = BTreeMap::new();
        for sound in &balance.sounds.slots[k] {
            if sound.key > 0 {
                let (low, high) = bar.span.unwrap_or((sound.key, sound.key));
                bar.span = Some((low.min(sound.key), high.max(sound.key)));
            }
            onsets[slot.bar] += u32::from(sound.begins);
            *players.entry(sound.desk).or_default() += u32::from(sound.players);
            // The end of a note that laps over a barline by a hair is no playing in that bar.
            if let Some(set) = plays.get_mut(usize::from(sound.desk))
                && (sound.begins || sound.to - sound.from > 0.1 * length)
            {
                set.insert(bar.bar);
            }
        }
        let at_once = players.iter().map(|(desk, n)| {
            let all = table.desks.get(usize::from(*desk)).map_or(1, |d| u32::from(d.players.max(1)));
            (*n).min(all)
        });
        bar.players = bar.players.max(at_once.sum());
    }
    for (i, bar) in bars.iter_mut().enumerate() {
        if lengths[i] > 0.0 {
            bar.brightness = if bar.sones > 0.0 { bar.brightness / bar.sones } else { 0.0 };
            bar.sones /= lengths[i];
            bar.density = f64::from(onsets[i]) / lengths[i];
        }
        bar.phons = phons(scale, bar.sones);
        let unheard = table.desks.iter().zip(&plays);
        bar.reserve = unheard
            .filter(|(_, set)| set.first().is_some_and(|first| *first > bar.bar))
            .map(|(desk, _)| desk.id().to_string())
            .collect();
    }
    let presence = |who: &str, set: &BTreeSet<i32>| {
        Some(Presence {
            who: who.to_string(),
            from_bar: *set.first()?,
            to_bar: *set.last()?,
            bars: u32::try_from(set.len()).unwrap_or(u32::MAX),
        })
    };
    let chairs = table.desks.iter().zip(&plays).filter_map(|(d, set)| presence(d.id(), set)).collect();
    let mut by_family: BTreeMap<Family, BTreeSet<i32>> = BTreeMap::new();
    for (desk, set) in table.desks.iter().zip(&plays) {
        by_family.entry(desk.instrument.family).or_default().extend(set);
    }
    let families = by_family.iter().filter_map(|(f, set)| presence(f.word(), set)).collect();
    let climax = climax(table, &bars, passages, &plays);
    Arc { bars, chairs, families, climax }
}

fn climax(table: &Table<'_>, bars: &[ArcBar], passages: &[Span], plays: &[BTreeSet<i32>]) -> Option<Climax> {
    // The first of equals.
    let loudest = bars.iter().rev().max_by(|a, b| a.sones.total_cmp(&b.sones)).filter(|b| b.sones > 0.0)?;
    let passage = passages.iter().find(|p| p.from_bar <= loudest.bar && loudest.bar <= p.to_bar);
    let start = passage.map_or(loudest.bar, |p| p.from_bar);
    let before = bars.iter().filter(|b| b.bar < start).map(|b| b.sones).fold(0.0, f64::max);
    let exceeds = if before > 0.0 { (loudest.sones / before).max(1.0) } else { 1.0 };
    let begins = plays.iter().filter_map(|set| set.first()).min();
    let who = |entrance: &dyn Fn(&BTreeSet<i32>) -> bool| {
        let those = table.desks.iter().zip(plays).filter(|(_, set)| entrance(set));
        those.map(|(desk, _)| desk.id().to_string()).collect::<Vec<_>>()
    };
    let enters = who(&|set| {
        set.first().is_some_and(|first| (start..=loudest.bar).contains(first) && Some(first) != begins)
    });
    let returns = who(&|set| {
        let after_rest = |bar: &i32| set.range(..*bar).next_back().is_some_and(|last| bar - last > SILENCE);
        set.range(start..=loudest.bar).any(after_rest)
    });
    Some(Climax { bar: loudest.bar, sones: loudest.sones, exceeds, enters, returns })
}
