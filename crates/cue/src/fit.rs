//! To picture: proposals of tempo and bars that bring the music onto the hits, and taking one of them.

use crate::fit_cut::{Cut, with_cut};
use crate::take::on_present_plan;
use crate::{Cue, CueError};
use ripieno_music::{Score, Timeline};
use ripieno_plan::{HitPlan, MetrePlan, PicturePlan, Plan, TempoPlan, edit};
use ripieno_timing::{
    Fit, FrameRate, Hit, Kind, LAMBDA, Pace, Place, Problem, Step, Timecode, Wanted, conduct, moved_barline,
    places, rebar,
};
use ripieno_units::Beats;
use std::path::Path;
use std::sync::Arc;

/// Without bounds in the plan the tempo stays within this share of the wished one. Own choice: a change that is heard as the same tempo
/// with another will.
const BOUND: f64 = 0.08;

/// One hit as a proposal meets it.
#[derive(Clone, Debug, PartialEq)]
pub struct HitMet {
    /// Where it stands in the picture.
    pub at: Timecode,
    /// What happens.
    pub what: String,
    /// Frames that it may be off.
    pub within: f64,
    /// Bar and beat of the music that falls on it; none where the proposal passes it over.
    pub place: Option<(i32, f64)>,
    /// The music is over before it.
    pub after_end: bool,
    /// Milliseconds that the music comes after the picture; below zero before it.
    pub ms: f64,
    /// The same in frames.
    pub frames: f64,
}

impl HitMet {
    /// Is it met as strictly as the plan asks?
    pub fn is_met(&self) -> bool {
        self.place.is_some() && self.frames.abs() <= self.within
    }
}

/// One proposal.
#[derive(Clone, Debug, PartialEq)]
pub struct Proposal {
    /// `constant`, `least-squares`, `stepped`, `ramped`, `refit`.
    pub kind: &'static str,
    /// The tempi to be written into the plan.
    pub tempi: Vec<TempoPlan>,
    /// The bars to be written into the plan.
    pub metres: Vec<MetrePlan>,
    /// Hits that a cut moves or takes out, by their number in the file.
    pub moves: Vec<(usize, Option<String>)>,
    /// How each hit is met.
    pub hits: Vec<HitMet>,
    /// What it costs, in sentences.
    pub costs: Vec<String>,
    /// The sum that stepped tempi make least.
    pub cost: Option<f64>,
}

/// All proposals for a cue.
#[derive(Clone, Debug, PartialEq)]
pub struct FitSheet {
    /// The frame rate.
    pub rate: FrameRate,
    /// Where bar 1 begins.
    pub zero: Timecode,
    /// The wished tempo, quarters a minute.
    pub wished: f64,
    /// How the music as it stands meets the hits.
    pub now: Vec<HitMet>,
    /// The proposals.
    pub proposals: Vec<Proposal>,
    /// What else is to be known.
    pub remarks: Vec<String>,
}

pub(crate) fn steps_of(timeline: &Timeline, tempi: &[TempoPlan]) -> Vec<Step> {
    let step = |t: &TempoPlan| {
        let pace = t.bpm.map_or(Pace::Factor(t.factor), Pace::PerMinute);
        Some(Step { at: timeline.at(t.bar, t.beat)?, pace, ramp: t.ramp })
    };
    tempi.iter().filter_map(step).collect()
}

fn with(source: &Timeline, tempi: &[TempoPlan], metres: &[MetrePlan]) -> Timeline {
    let changes: Vec<(i32, u16)> = metres.iter().map(|m| (m.bar, m.beats)).collect();
    let mut timeline = Timeline { bars: rebar(source, &changes), ..source.clone() };
    timeline.tempi = conduct(&timeline, &steps_of(&timeline, tempi));
    timeline
}

/// The music with the tempi and bars that the plan says.
pub(crate) fn conducted(source: &Arc<Score>, plan: &Plan) -> Arc<Score> {
    if plan.tempi.is_empty() && plan.metres.is_empty() {
        return Arc::clone(source);
    }
    let timeline = with(&source.timeline, &plan.tempi, &plan.metres);
    let mut score = Score { timeline, ..(**source).clone() };
    for tempo in plan.tempi.iter().filter(|t| score.timeline.at(t.bar, t.beat).is_none()) {
        let message = "[[tempo]] names a bar that the music does not have; it was passed over".to_string();
        score.warnings.push(ripieno_music::Warning { place: format!("bar {}", tempo.bar), message });
    }
    for metre in plan
        .metres
        .iter()
        .filter(|m| score.timeline.bar_numbered(m.bar).is_none_or(|b| b.metre.beats != m.beats))
    {
        let message = "[[metre]] cannot be: the bar and the next must each keep a beat; it was passed over";
        let place = format!("bar {}", metre.bar);
        score.warnings.push(ripieno_music::Warning { place, message: message.into() });
    }
    Arc::new(score)
}

/// What a fit works with.
pub(crate) struct Work<'a> {
    base: Timeline,
    source: &'a Timeline,
    pub(crate) plan: &'a Plan,
    picture: &'a PicturePlan,
    hits: Vec<HitPlan>,
    pub(crate) problem: Problem,
}

/// Proposes tempi and bars. `changed` is a cut, `at 01:00:10:00 +36`.
pub fn fit(cue: &Cue, changed: Option<&str>) -> Result<FitSheet, CueError> {
    let missing = |message: &str| CueError::Place { path: cue.plan_path.clone(), message: message.into() };
    let picture = cue.plan.picture.as_ref().ok_or_else(|| {
        missing("the plan has no picture; write at its end, with the numbers of your own (all keys: docs/plan.md):\n\n[picture]\nrate = \"25\"\nstart = \"01:00:00:00\"\n\n[[picture.hit]]\nat = \"01:00:10:08\"\nwhat = \"the door\"")
    })?;
    let Cut { mut hits, mut before, moves, mut remarks } = with_cut(picture, changed)?;
    if hits.is_empty() {
        return Err(missing(
            "the picture has no hit after bar 1; write at the plan's end, with a time code of your own:\n\n[[picture.hit]]\nat = \"01:00:10:08\"\nwhat = \"the door\"",
        ));
    }
    let source = &cue.source.timeline;
    let steady = source.tempi.windows(2).all(|w| w[0].micros == w[1].micros);
    let written = source.tempo_at(Beats::ZERO).quarters_per_minute();
    let (wish, wished) = match picture.tempo {
        Some(tempo) => (Some(tempo * picture.beat), tempo * picture.beat),
        None if steady => (Some(written), written),
        None => {
            let quarters = source.end().quarters();
            (None, 60.0 * quarters / source.seconds(source.end()).0.max(1e-6))
        }
    };
    let bound = |tempo: Option<f64>, or: f64| tempo.map_or(or, |t| t * picture.beat / wished);
    let speed = (bound(picture.tempo_from, 1.0 / (1.0 + BOUND)), bound(picture.tempo_to, 1.0 + BOUND));
    if speed.0 > speed.1 {
        return Err(missing(
            "the tempo bounds leave no tempo; write tempo-from below tempo-to, and both around the tempo",
        ));
    }
    // What no tempo of the bounds reaches: it bends no tempo of what is there.
    let written = wish.map_or_else(|| source.seconds(source.end()).0, |t| source.end().quarters() * 60.0 / t);
    let reached = written / speed.0;
    let late = |hit: &HitPlan| {
        hit.place.is_none() && hit.at.since(picture.zero()) > reached + hit.within * picture.rate.seconds(1)
    };
    let beyond: Vec<HitPlan> = hits.iter().filter(|h| late(h)).cloned().collect();
    for hit in &beyond {
        remarks.push(format!(
            "{} \"{}\" comes after the end of the music, which lasts until {} at the slowest tempo: no tempo moves it.",
            hit.at,
            hit.what,
            Timecode::new(picture.zero().frame + picture.rate.frames(reached).floor() as i64, picture.rate)
        ));
    }
    (hits, before) = hits.into_iter().zip(before).filter(|(h, _)| !late(h)).unzip();
    if hits.is_empty() {
        return Err(missing(&format!("no hit of the picture falls into the music: {}", remarks.join(" "))));
    }
    let base = with(source, &[], &cue.plan.metres);
    let mut pinned = Vec::new();
    let mut asked = Vec::new();
    for hit in &hits {
        let wanted = match (hit.place, hit.on) {
            (Some((bar, beat)), _) => match base.at(bar, beat) {
                Some(at) if at > Beats::ZERO => {
                    pinned.push(at);
                    Wanted::At(at)
                }
                _ => {
                    let last = base.bars.last().map_or(0, |b| b.number);
                    return Err(missing(&format!(
                        "the hit at {} names bar {bar}; it must come after the start of bar 1, and the music has bars 1 to {last}",
                        hit.at
                    )));
                }
            },
            (None, Some(beat)) => Wanted::Beat(beat),
            (None, None) => Wanted::Any,
        };
        let frame = picture.rate.seconds(1);
        asked.push(Hit { time: hit.at.since(picture.zero()), within: hit.within * frame, wanted });
    }
    let last = asked.last().map_or(0.0, |h| h.time);
    let problem = Problem {
        kept: vec![None; asked.len()],
        places: within(&base, places(&base, wish, &pinned, last * speed.1.max(1.0))),
        hits: asked,
        speed,
        wished,
        own: wish.is_none(),
        bars_free: picture.bars_free,
        lambda: LAMBDA,
    };
    let work = Work { base, source, plan: &cue.plan, picture, hits, problem };
    let mut proposals = Vec::new();
    if changed.is_some() || !cue.plan.tempi.is_empty() {
        proposals.extend(work.refit(&cue.score.timeline, &before, changed.is_some()));
    }
    let constant = work.problem.constant(true).map(|f| work.proposal(f, &mut remarks));
    let squares = work.problem.constant(false).map(|f| work.proposal(f, &mut remarks));
    if let (Some(a), Some(b)) = (&constant, &squares) {
        let same = a.tempi == b.tempi;
        proposals.push(a.clone());
        proposals.extend((!same).then(|| b.clone()));
    }
    match work.problem.stepped() {
        Some(stepped) => {
            let ramped = work.problem.ramped(&stepped);
            proposals.push(work.proposal(stepped, &mut remarks));
            proposals.extend(ramped.map(|f| work.proposal(f, &mut remarks)));
        }
        None => remarks.push(
            "No tempi within the bounds meet these hits; widen tempo-from and tempo-to, or let hits fall on other places."
                .into(),
        ),
    }
    for proposal in &mut proposals {
        proposal.moves = moves.clone();
        proposal.hits.extend(beyond.iter().map(|hit| HitMet { after_end: true, ..met(picture, hit, None) }));
    }
    if picture.rate == FrameRate::F23976 {
        remarks.push(
            "MIDI files cannot say 23.976 frames a second: the offset in performed.mid is written as 24."
                .into(),
        );
    }
    remarks.dedup();
    let now: Vec<HitMet> = hits_of(&cue.score.timeline, picture, &[&work.hits[..], &beyond].concat());
    if !now.is_empty() && now.iter().all(HitMet::is_met) {
        remarks.insert(0, "As it stands the music meets every hit: nothing has to be taken.".into());
    }
    Ok(FitSheet { rate: picture.rate, zero: picture.zero(), wished, now, proposals, remarks })
}

/// Of these places the ones that the music has, the barline at its end among them.
fn within(timeline: &Timeline, mut places: Vec<Place>) -> Vec<Place> {
    places.retain(|p| p.at <= timeline.end());
    places
}

/// Bar and beat; the end of the music is the first beat of the bar that is no longer there.
fn place(timeline: &Timeline, at: Beats) -> (i32, f64) {
    match timeline.bars.last() {
        Some(last) if at >= timeline.end() => (last.number + 1, 1.0),
        _ => {
            let place = timeline.place(at);
            (place.bar, place.beat)
        }
    }
}

/// How the music as it stands meets the hits of the plan.
pub fn hits_now(cue: &Cue) -> Vec<HitMet> {
    cue.plan.picture.as_ref().map_or_else(Vec::new, |p| hits_of(&cue.score.timeline, p, &p.hits))
}

fn hits_of(timeline: &Timeline, picture: &PicturePlan, hits: &[HitPlan]) -> Vec<HitMet> {
    let clock = timeline.clock();
    let last = hits.iter().map(|h| h.at.since(picture.zero())).fold(1.0, f64::max);
    let grid = within(timeline, places(timeline, None, &[], last));
    let end = clock.seconds(timeline.end()).0;
    let near = |hit: &HitPlan| -> Option<Beats> {
        if let Some((bar, beat)) = hit.place {
            return timeline.at(bar, beat);
        }
        let time = hit.at.since(picture.zero());
        if time > end + hit.within * picture.rate.seconds(1) {
            return None;
        }
        let ok = grid.iter().filter(|p| hit.on.is_none_or(|on| on == p.beat));
        ok.min_by(|a, b| (a.wish - time).abs().total_cmp(&(b.wish - time).abs())).map(|p| p.at)
    };
    hits.iter()
        .map(|hit| {
            let at = near(hit).map(|at| (place(timeline, at), clock.seconds(at).0));
            HitMet { after_end: at.is_none(), ..met(picture, hit, at) }
        })
        .collect()
}

fn met(picture: &PicturePlan, hit: &HitPlan, at: Option<((i32, f64), f64)>) -> HitMet {
    let error = at.map_or(0.0, |(_, seconds)| seconds - hit.at.since(picture.zero()));
    // A hundredth of a microsecond is rounding.
    let ms = (error * 1e5).round() / 1e2;
    HitMet {
        at: hit.at,
        what: hit.what.clone(),
        within: hit.within,
        place: at.map(|(p, _)| p),
        after_end: false,
        ms,
        frames: (picture.rate.frames(error) * 1e4).round() / 1e4,
    }
}

impl Work<'_> {
    fn proposal(&self, fit: Fit, remarks: &mut Vec<String>) -> Proposal {
        let kind = match fit.kind {
            Kind::LeastWorst => "constant",
            Kind::LeastSquares => "least-squares",
            Kind::Stepped => "stepped",
            Kind::Ramped => "ramped",
        };
        for (hit, place) in self.hits.iter().zip(&fit.places) {
            if place.is_none() {
                let way = if hit.place.is_some() {
                    "widen the tempo bounds, or let another place of the music fall on it"
                } else {
                    "no beat reaches it within the tempo bounds: widen them, or name a place between the beats (bar and beat = 2.5)"
                };
                remarks.push(format!("{} \"{}\" is passed over in \"{kind}\"; {way}.", hit.at, hit.what));
            }
        }
        self.propose(kind, &fit.steps, &fit.places, fit.cost)
    }

    /// Steps and places as the plan writes them, with what comes of them.
    pub(crate) fn propose(
        &self,
        kind: &'static str,
        steps: &[Step],
        chosen: &[Option<usize>],
        cost: Option<f64>,
    ) -> Proposal {
        let mut metres = self.plan.metres.clone();
        for (hit, place) in self.problem.hits.iter().zip(chosen) {
            let Some(place) = place.map(|p| self.problem.places[p]) else { continue };
            if self.problem.bars_free
                && hit.wanted == Wanted::Beat(1)
                && let Some((bar, beats)) = moved_barline(&self.base, place.bar, place.beat)
                && metres.iter().all(|m| m.bar != bar)
            {
                metres.push(MetrePlan { bar, beats });
            }
        }
        metres.sort_by_key(|m| m.bar);
        let barred = with(self.source, &[], &metres);
        let write = |step: &Step| {
            let place = barred.place(step.at);
            let (bpm, factor) = match step.pace {
                Pace::PerMinute(v) => (Some(v), 1.0),
                Pace::Factor(f) => (None, f),
            };
            TempoPlan { bar: place.bar, beat: place.beat, bpm, factor, ramp: step.ramp }
        };
        // From the end on there is nothing to conduct.
        let tempi: Vec<TempoPlan> = steps.iter().filter(|s| s.at < barred.end()).map(write).collect();
        let timeline = with(self.source, &tempi, &metres);
        let clock = timeline.clock();
        let hits: Vec<HitMet> = self
            .hits
            .iter()
            .zip(chosen)
            .map(|(hit, chosen)| {
                let at = chosen.map(|p| self.problem.places[p].at);
                met(self.picture, hit, at.map(|at| (place(&timeline, at), clock.seconds(at).0)))
            })
            .collect();
        let new: Vec<&MetrePlan> = metres.iter().filter(|m| !self.plan.metres.contains(m)).collect();
        let mut costs = crate::fit_sheet::costs(&timeline, &tempi, &new, &hits);
        // A ramp may swing beyond the tempi of its stretch, and what is kept was taken when other bounds held.
        let (low, high) = self.problem.speed;
        let speed = |t: &TempoPlan| t.bpm.map_or(t.factor, |v| v / self.problem.wished);
        let outside = |t: &&TempoPlan| speed(t) < low * (1.0 - 1e-6) || speed(t) > high * (1.0 + 1e-6);
        if let Some(first) = tempi.iter().find(outside) {
            costs.push(format!(
                "At bar {} the tempo goes beyond the bounds: {:.1} % of the wished tempo, where {:.1} to {:.1} % were asked.",
                first.bar,
                100.0 * speed(first),
                100.0 * low,
                100.0 * high
            ));
        }
        Proposal { kind, tempi, metres, moves: Vec::new(), hits, costs, cost }
    }
}

/// Writes a proposal, by its number from 1, into the plan. The plan before it is kept in the cue's `.ripieno/cue-before.toml`.
pub fn take_fit(path: &Path, number: usize, changed: Option<&str>) -> Result<(Cue, Proposal), CueError> {
    on_present_plan(&Cue::open(path)?, |cue, before| {
        let sheet = fit(&cue, changed)?;
        let Some(proposal) = number.checked_sub(1).and_then(|i| sheet.proposals.get(i)) else {
            let message = format!("there is no proposal {number}; there are {}", sheet.proposals.len());
            return Err(CueError::Refused(message));
        };
        let text = written(before, proposal)?;
        let cue = cue.with_plan(&text)?;
        Ok((text, (cue, proposal.clone())))
    })
}

/// The lines of a plan that a proposal is.
pub fn fit_lines(proposal: &Proposal) -> Result<String, CueError> {
    let lines = edit::set_tempi("", &proposal.tempi, &proposal.metres);
    Ok(lines.map_err(|d| CueError::Written(vec![d]))?.trim().to_string())
}

/// The plan's text with a proposal taken.
pub(crate) fn written(text: &str, proposal: &Proposal) -> Result<String, CueError> {
    let refused = |d| CueError::Written(vec![d]);
    let moved = edit::move_hits(text, &proposal.moves).map_err(refused)?;
    edit::set_tempi(&moved, &proposal.tempi, &proposal.metres).map_err(refused)
}
