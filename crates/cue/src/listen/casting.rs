//! One casting of a cue, made ready to be heard: its chairs, and for each what every stretch of its sound is made of.

use super::grid::Grid;
use super::store::Store;
use super::whole::Whole;
use crate::fingerprint::Fingerprint;
use crate::render::halls::Halls;
use crate::render::jobs::{self, Chair, Origin};
use crate::render::kept::Kept;
use crate::render::place::{self, Seated, Way};
use crate::render::stem::Form;
use crate::render::stretch::stretch;
use crate::{Bits, Cue, CueError, Performed, Pool, RenderOptions, folder};
use rayon::prelude::*;
use ripieno_formats::wav::{SampleFormat, Shape};
use ripieno_music::ChairPerformance;
use ripieno_plan::{ChairPlan, Placing};
use ripieno_signal::{Prepared, Stereo};
use ripieno_sound::Phrase;
use ripieno_units::Seconds;
use std::sync::atomic::{AtomicBool, AtomicU8, Ordering};
use std::sync::{Arc, OnceLock};

/// What is known of a stretch.
pub mod state {
    /// It is to be rendered.
    pub const WANTED: u8 = 0;
    /// Somebody renders it.
    pub const CLAIMED: u8 = 1;
    /// It is in the store.
    pub const READY: u8 = 2;
    /// Nothing sounds in it.
    pub const SILENT: u8 = 3;
    /// It is as it was in a stem that was rendered whole before a change elsewhere.
    pub const LENT: u8 = 4;
    /// It cannot be rendered.
    pub const FAILED: u8 = 5;
}

/// All stretches of a chair.
pub struct Made {
    /// What of the performance belongs together.
    pub phrases: Vec<Phrase>,
    /// What each is made of; none if nothing sounds.
    pub keys: Vec<Option<Fingerprint>>,
    /// See [`state`].
    pub states: Vec<AtomicU8>,
}

/// What a chair's sound is convolved with.
pub struct Ringing {
    pub inputs: Vec<Arc<Prepared>>,
    pub send: f32,
    pub shared: Arc<Prepared>,
    /// Frames of the longest.
    pub frames: usize,
}

/// A chair that sounds.
pub struct Seat {
    pub id: String,
    pub family: &'static str,
    pub plan: ChairPlan,
    pub performance: Option<Arc<ChairPerformance>>,
    pub origin: Origin,
    /// Of its recording or its font, on the disk.
    stamp: String,
    placing: Placing,
    seated: Seated,
    /// Its way to the stereo, in words.
    way: String,
    /// Fingerprint of all but its gestures.
    base: Fingerprint,
    remarks: Vec<String>,
    whole_key: String,
    whole: Option<Whole>,
    whole_gone: AtomicBool,
    /// The same chair before a change, with a stem that is whole: it lends what has not changed.
    lender: Option<Arc<Seat>>,
    ringing: Arc<OnceLock<Ringing>>,
    made: Arc<OnceLock<Made>>,
    preparing: AtomicBool,
}

/// A casting.
pub struct Casting {
    pub cue: Arc<Cue>,
    pub performed: Arc<Performed>,
    pub grid: Grid,
    pub seats: Vec<Arc<Seat>>,
    pub remarks: Vec<String>,
    halls: Arc<Halls>,
}

/// Seconds that are added to the longest hall: an equaliser's ringing, and a margin.
const LONGER: f64 = 0.5;

/// A chair with its place, the seat that it had before, and where its sound comes from if that is read already.
type Draft<'a> = (Chair<'a>, Placing, Option<Arc<Seat>>, Option<(Origin, Vec<String>)>);

impl Casting {
    /// Makes a casting ready; what `before` has and is the same is taken over.
    ///
    /// Errors: impulse responses that cannot be read, the disk.
    pub fn prepare(
        cue: Arc<Cue>,
        performed: Arc<Performed>,
        kept: &Kept,
        before: Option<&Self>,
    ) -> Result<Self, CueError> {
        let rate = cue.template.mix.rate;
        let chairs = jobs::chairs(&cue, &performed, &[]);
        let placings: Vec<Placing> = chairs.iter().map(|c| place::placing(&cue.template, c.plan)).collect();
        let same = before.filter(|b| b.cue.template == cue.template && b.cue.folder == cue.folder);
        let halls = match same {
            Some(before) => Arc::clone(&before.halls),
            None => Arc::new(Halls::all(&cue, rate)?),
        };
        let tail = Seconds(halls_used(&halls) + 1.0);
        let grid = Grid::new(&performed, rate, tail);
        let before = before.filter(|b| b.grid.start == grid.start && b.grid.rate == rate);
        // The stems that a render of the whole has left.
        let options = RenderOptions::default();
        let whole = stretch(&cue, &performed, &options, render_tail(&cue, &chairs, &placings, &halls))?;
        let frames = ((whole.to - whole.from).0.max(0.0) * f64::from(rate)).ceil() as u64;
        let shape = Shape { sample_rate: rate, channels: 2, frames };
        let exact = if cue.template.mix.bits == Bits::ThirtyTwo {
            SampleFormat::Float32
        } else {
            SampleFormat::Int24
        };
        let form = Form { shape, format: exact };
        let mut fonts = jobs::Fonts::new();
        let drafts: Vec<Draft<'_>> = chairs
            .into_iter()
            .zip(placings)
            .map(|(chair, placing)| {
                let old = before.and_then(|b| b.seats.iter().find(|s| s.id == chair.plan.id));
                let old = old.map(Arc::clone);
                let same = old.as_ref().filter(|s| s.plays(&chair) && s.stamp == stamp(&s.origin)).is_some();
                let origin = (!same).then(|| {
                    let mut remarks = Vec::new();
                    let origin = jobs::origin(&cue, &performed, &chair, rate, &mut fonts, &mut remarks);
                    (origin, remarks)
                });
                (chair, placing, old, origin)
            })
            .collect();
        let seat = |(chair, placing, old, origin): Draft<'_>| {
            let (origin, remarks) = match (origin, &old) {
                (Some(found), _) => found,
                (None, Some(old)) => (old.origin.clone(), old.remarks.clone()),
                (None, None) => (Origin::Silent, Vec::new()),
            };
            let seated = place::seated(&cue.template, chair.plan);
            let way = Way {
                template: &cue.template,
                placing: &placing,
                seated,
                loudness: origin.loudness(),
                halls: &halls,
                rate,
            };
            let made_of = way.made_of();
            let base = base(&cue, &chair, &origin, &made_of, &grid);
            let unchanged = old.as_ref().filter(|o| o.base == base && o.plays(&chair));
            let whole_key = match unchanged.filter(|o| !o.whole_key.is_empty()) {
                Some(old) if before.is_some_and(|b| b.grid == grid) => old.whole_key.clone(),
                _ => jobs::key(&cue, chair, &origin, &way, &whole, form),
            };
            let found = kept.find(&whole_key).and_then(|_| Whole::open(&kept.path(&whole_key)));
            let lender = match &old {
                Some(old) if old.whole().is_some() => Some(Arc::clone(old)),
                Some(old) => old.lender.clone(),
                None => None,
            };
            // A recording may have become another, of more channels.
            let same_room = old.as_ref().filter(|o| {
                let print = matches!(origin, Origin::Print { .. });
                !print && o.way == made_of && o.desks() == desks(&chair, &origin)
            });
            Arc::new(Seat {
                id: chair.plan.id.clone(),
                family: place::family(chair.plan),
                plan: chair.plan.clone(),
                performance: match unchanged {
                    Some(old) => old.performance.clone(),
                    None => chair.performance.map(Arc::clone),
                },
                stamp: stamp(&origin),
                ringing: same_room.map(|o| Arc::clone(&o.ringing)).unwrap_or_default(),
                made: unchanged.map(|o| Arc::clone(&o.made)).unwrap_or_default(),
                origin,
                placing,
                seated,
                way: made_of,
                base,
                remarks,
                whole_key,
                whole: found,
                whole_gone: AtomicBool::new(false),
                lender: lender.filter(|_| unchanged.is_none()),
                preparing: AtomicBool::new(false),
            })
        };
        let seats: Vec<Arc<Seat>> = Pool::Ears.work(|| drafts.into_par_iter().map(seat).collect());
        let remarks = seats.iter().flat_map(|s| s.remarks.clone()).collect();
        Ok(Self { cue, performed, grid, seats, remarks, halls })
    }

    /// Seconds that the longest hall rings.
    pub fn tail(&self) -> f64 {
        halls_used(&self.halls)
    }
}

fn halls_used(halls: &Halls) -> f64 {
    halls.longest().0 + LONGER
}

/// Seconds after the end, as a render has them.
fn render_tail(cue: &Cue, chairs: &[Chair<'_>], placings: &[Placing], all: &Halls) -> Seconds {
    let stage = &cue.template.stage;
    let _ = chairs;
    let names = placings.iter().map(|p| crate::render::halls::name(p, stage));
    let common = stage.common.iter().map(|c| c.name.as_str());
    let seconds = names
        .chain(common)
        .filter_map(|n| all.get(n))
        .map(|s| s.room.tail().frames() as f64 / s.room.sample_rate());
    Seconds(seconds.fold(0.0, f64::max) + 1.0)
}

fn stamp(origin: &Origin) -> String {
    match origin {
        Origin::Print { path, .. } => folder::stamp(path),
        Origin::Font { stamp, .. } => stamp.clone(),
        Origin::House | Origin::Silent => String::new(),
    }
}

fn desks(chair: &Chair<'_>, origin: &Origin) -> usize {
    match origin {
        Origin::House => chair.performance.map_or(1, |p| ripieno_sound::desks(p.players)),
        Origin::Print { .. } | Origin::Font { .. } | Origin::Silent => 1,
    }
}

fn base(cue: &Cue, chair: &Chair<'_>, origin: &Origin, way: &str, grid: &Grid) -> Fingerprint {
    let print = Fingerprint::default()
        .of(&env!("RIPIENO_SOUND"))
        .of(&way)
        .of(&(grid.rate, grid.start, grid.block, grid.stretch))
        .of(&chair.performance.map(|p| (&p.chair, &p.instrument, p.players)));
    match origin {
        Origin::House => print.of(&jobs::options(cue, grid.rate)),
        Origin::Print { path, starts } => print.of(&folder::stamp(path)).of(&starts.0.to_bits()),
        // Its player gives notes to channels in their order: all of them make its sound.
        Origin::Font { setup, stamp, .. } => {
            print.of(&jobs::options(cue, grid.rate)).of(&chair.performance).of(&(setup, stamp))
        }
        Origin::Silent => print.of(&"silent"),
    }
}

impl Seat {
    /// Whether it plays what this chair plays, from the same source.
    fn plays(&self, chair: &Chair<'_>) -> bool {
        let same = match (&self.performance, chair.performance) {
            // What has not changed is the very same.
            (Some(a), Some(b)) => Arc::ptr_eq(a, b) || a == b,
            (a, b) => a.is_none() && b.is_none(),
        };
        same && self.plan == *chair.plan
    }

    /// Whether another sounds the same.
    pub fn is(&self, other: &Self) -> bool {
        self.base == other.base && self.performance == other.performance
    }

    fn desks(&self) -> usize {
        desks(&Chair { plan: &self.plan, performance: self.performance.as_ref() }, &self.origin)
    }

    /// Its stem, where a render has left it whole.
    pub fn whole(&self) -> Option<&Whole> {
        self.whole.as_ref().filter(|_| !self.whole_gone.load(Ordering::Relaxed))
    }

    /// Its stem has gone: from now on it is rendered in stretches.
    pub fn lose_whole(&self) {
        self.whole_gone.store(true, Ordering::Relaxed);
    }

    /// The stem that lends stretches.
    pub fn lent(&self) -> Option<&Whole> {
        self.lender.as_ref().and_then(|l| l.whole())
    }

    /// Its stretches, if they are known already.
    pub fn made(&self) -> Option<&Made> {
        self.made.get()
    }

    /// Takes it upon the caller to find out its stretches; false if another does.
    pub fn claim_making(&self) -> bool {
        !self.preparing.swap(true, Ordering::Relaxed)
    }

    /// Its stretches; they are found out where they are not known.
    pub fn make(&self, casting: &Casting, store: &Store) -> &Made {
        self.made.get_or_init(|| {
            let (phrases, keys) = self.keys(casting);
            let lent = self.lender.as_ref().filter(|l| l.whole().is_some()).map(|l| match l.made.get() {
                Some(made) => made.keys.clone(),
                None => l.keys(casting).1,
            });
            let state = |(k, key): (usize, &Option<Fingerprint>)| match key {
                None => state::SILENT,
                Some(key) if store.has(*key) => state::READY,
                Some(key) if lent.as_ref().and_then(|l| l.get(k)) == Some(&Some(*key)) => state::LENT,
                Some(_) => state::WANTED,
            };
            let states = keys.iter().enumerate().map(state).map(AtomicU8::new).collect();
            Made { phrases, keys, states }
        })
    }

    /// From when to when it is played, so that it is heard in a stretch: halls ring on.
    fn window(&self, casting: &Casting, stretch: usize) -> (Seconds, Seconds) {
        let from = (stretch * casting.grid.stretch) as i64;
        let to = from + casting.grid.stretch as i64;
        (casting.grid.seconds(from) - Seconds(casting.tail()), casting.grid.seconds(to))
    }

    fn keys(&self, casting: &Casting) -> (Vec<Phrase>, Vec<Option<Fingerprint>>) {
        let count = casting.grid.count();
        let Some(performance) = self.performance.as_deref() else {
            let print = matches!(self.origin, Origin::Print { .. });
            return (Vec::new(), (0..count).map(|k| print.then(|| self.base.of(&k))).collect());
        };
        match self.origin {
            Origin::House => {}
            Origin::Silent => return (Vec::new(), vec![None; count]),
            Origin::Print { .. } | Origin::Font { .. } => {
                return (Vec::new(), (0..count).map(|k| Some(self.base.of(&k))).collect());
            }
        }
        let phrases = ripieno_sound::phrases(performance);
        let prints: Vec<u128> =
            performance.gestures.iter().map(|g| Fingerprint::default().of(g).number()).collect();
        let keys = (0..count)
            .map(|k| {
                let (from, to) = self.window(casting, k);
                let heard = ripieno_sound::heard(performance, &phrases, from, to);
                if heard.is_empty() {
                    return None;
                }
                let cut = ripieno_sound::cut(performance, &phrases, from, to);
                let mut key = self.base.of(&(k, heard.len()));
                for place in &heard {
                    key.bytes(&prints[*place].to_le_bytes());
                }
                let points = |curve: &ripieno_music::Curve| -> Vec<f64> {
                    curve.points.iter().flat_map(|p| [p.0, p.1]).chain([f64::NAN]).collect()
                };
                let pedal = cut.pedal.iter().flat_map(|(down, up)| [down.0, up.0]);
                Some(key.numbers(points(&cut.level)).numbers(points(&cut.sticks)).numbers(pedal))
            })
            .collect();
        (phrases, keys)
    }

    /// What its sound is convolved with; made when it is first wanted.
    pub fn ringing(&self, casting: &Casting, desks: usize) -> &Ringing {
        self.ringing.get_or_init(|| {
            let way = Way {
                template: &casting.cue.template,
                placing: &self.placing,
                seated: self.seated,
                loudness: self.origin.loudness(),
                halls: &casting.halls,
                rate: casting.grid.rate,
            };
            let responses = way.responses(desks);
            let block = casting.grid.block;
            let prepare = |response: &Stereo| Arc::new(Prepared::new(response, block));
            let longest = responses.inputs.iter().chain([&responses.shared]).map(Stereo::frames).max();
            let frames = longest.unwrap_or(0);
            match &responses.inputs[..] {
                // One input is its own sum: one response does for both.
                [only] => {
                    let mut whole = only.clone();
                    whole.add(&responses.shared);
                    let shared = prepare(&Stereo::default());
                    Ringing { inputs: vec![prepare(&whole)], send: 0.0, shared, frames }
                }
                several => Ringing {
                    inputs: several.iter().map(prepare).collect(),
                    send: 1.0,
                    shared: prepare(&responses.shared),
                    frames,
                },
            }
        })
    }
}
