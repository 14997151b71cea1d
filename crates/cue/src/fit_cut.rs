//! A cut in the picture: hits that move with it, and new tempi only for the stretches that have changed.

use crate::CueError;
use crate::fit::{Proposal, Work, steps_of};
use ripieno_music::Timeline;
use ripieno_plan::{HitPlan, PicturePlan};
use ripieno_timing::{FrameRate, Pace, Place, Step, Timecode, Wanted, ramp};
use ripieno_units::Beats;

/// `at 01:00:10:00 +36`: from there on so many frames are put in, or taken out.
fn cut(text: &str, rate: FrameRate) -> Result<(Timecode, i64), CueError> {
    let form = "write --cut \"at 01:00:10:00 +36\": from there on 36 frames more, or -36 for fewer";
    let words: Vec<&str> = text.split_whitespace().collect();
    let (code, frames) = match words[..] {
        ["at", code, frames] => (code, frames),
        [code, frames] if code != "at" => (code, frames),
        _ => return Err(CueError::Refused(form.into())),
    };
    let at = Timecode::parse(code, rate).map_err(|help| CueError::Refused(format!("`{code}`: {help}")))?;
    let frames: i64 = frames.parse().map_err(|_| CueError::Refused(form.into()))?;
    if frames == 0 || frames.abs() > rate.day() {
        return Err(CueError::Refused(form.into()));
    }
    Ok((at, frames))
}

/// The hits with a cut made: each with its time before, in seconds from bar 1, and what is to be written.
pub(crate) struct Cut {
    pub(crate) hits: Vec<HitPlan>,
    pub(crate) before: Vec<f64>,
    pub(crate) moves: Vec<(usize, Option<String>)>,
    pub(crate) remarks: Vec<String>,
}

pub(crate) fn with_cut(picture: &PicturePlan, wanted: Option<&str>) -> Result<Cut, CueError> {
    let mut out = Cut { hits: Vec::new(), before: Vec::new(), moves: Vec::new(), remarks: Vec::new() };
    let cut = wanted.map(|text| cut(text, picture.rate)).transpose()?;
    for hit in &picture.hits {
        let before = hit.at.since(picture.zero());
        let mut hit = hit.clone();
        if let Some((at, frames)) = cut
            && hit.at.frame >= at.frame
        {
            if frames < 0 && hit.at.frame < at.frame - frames {
                out.remarks.push(format!("{} \"{}\" is cut out of the picture.", hit.at, hit.what));
                out.moves.push((hit.index, None));
                continue;
            }
            hit.at = Timecode::new(hit.at.frame + frames, picture.rate);
            out.moves.push((hit.index, Some(hit.at.to_string())));
        }
        if hit.at.frame <= picture.zero().frame {
            out.remarks
                .push(format!("{} \"{}\" does not come after bar 1: no tempo moves it.", hit.at, hit.what));
            continue;
        }
        out.hits.push(hit);
        out.before.push(before);
    }
    Ok(out)
}

impl Work<'_> {
    /// Only the stretches whose ends have moved against each other get new tempi.
    pub(crate) fn refit(&self, now: &Timeline, before: &[f64], cut: bool) -> Option<Proposal> {
        let clock = now.clock();
        let mut problem = self.problem.clone();
        let beats = problem.places.clone();
        // Where each hit was met before, if it was.
        let was: Vec<Option<Beats>> = problem
            .hits
            .iter()
            .zip(before)
            .map(|(hit, time)| {
                let near = match hit.wanted {
                    Wanted::At(at) => at,
                    Wanted::Any | Wanted::Beat(_) => {
                        let quarters = clock.quarters(ripieno_units::Seconds(*time));
                        let off = |p: &&Place| (p.at.quarters() - quarters).abs();
                        beats.iter().filter(|p| p.beat > 0).min_by(|a, b| off(a).total_cmp(&off(b)))?.at
                    }
                };
                ((clock.seconds(near).0 - time).abs() <= hit.within.max(1e-4)).then_some(near)
            })
            .collect();
        let mut from = (0.0, 0.0, Some(Beats::ZERO));
        for i in 0..problem.hits.len() {
            let (time, old, place) = (problem.hits[i].time, before[i], was[i]);
            let same = ((time - from.0) - (old - from.1)).abs() < 1e-6;
            problem.kept[i] = match (from.2, place) {
                (Some(a), Some(b)) if same && b > a => Some(b - a),
                _ => None,
            };
            from = (time, old, place);
        }
        let all = problem.kept.iter().all(Option::is_some);
        if problem.kept.iter().all(Option::is_none) || (all && !cut) {
            return None;
        }
        let fit = problem.stepped().filter(|f| f.places.iter().all(Option::is_some))?;
        let old = match self.plan.tempi.is_empty() {
            true => vec![Step { at: Beats::ZERO, pace: Pace::Factor(1.0), ramp: false }],
            false => steps_of(now, &self.plan.tempi),
        };
        let value = |at: Beats| old.iter().rev().find(|s| s.at <= at).or(old.first()).map(|s| s.pace);
        let ramps = old.iter().any(|s| s.ramp) && !problem.own;
        let mut steps: Vec<Step> = Vec::new();
        let copy = |steps: &mut Vec<Step>, a: Beats, b: Option<Beats>, to: Beats| {
            if let Some(first) = old.iter().rev().find(|s| s.at <= a) {
                steps.push(Step { at: to, ..*first });
            }
            let inside = old.iter().filter(|s| s.at > a && b.is_none_or(|b| s.at < b));
            steps.extend(inside.map(|s| Step { at: to + (s.at - a), ..*s }));
        };
        let (mut at, mut time, mut old_at) = (Beats::ZERO, 0.0, Some(Beats::ZERO));
        let per_minute = |pace: Option<Pace>| match pace {
            Some(Pace::PerMinute(v)) => Some(v),
            _ => None,
        };
        for (i, place) in fit.places.iter().enumerate() {
            let place = problem.places[(*place)?];
            let hit = problem.hits[i];
            match (problem.kept[i], old_at) {
                (Some(quarters), Some(a)) => copy(&mut steps, a, Some(a + quarters), at),
                _ => {
                    let pace = fit.steps.get(i)?.pace;
                    let speed = per_minute(Some(pace));
                    let begin =
                        if i > 0 { old_at.and_then(|a| per_minute(value(a))).or(speed) } else { speed };
                    let end = was[i].and_then(|a| per_minute(value(a))).or(speed);
                    let quarters = place.at - at;
                    let middle = match (begin, end, ramps) {
                        (Some(a), Some(b), true) => {
                            ramp::middle_for(a, b, quarters.quarters(), hit.time - time).map(|m| (a, m))
                        }
                        _ => None,
                    };
                    match middle {
                        Some((a, m)) => {
                            let tidy = |x: f64| Pace::PerMinute((x * 1e8).round() / 1e8);
                            steps.push(Step { at, pace: tidy(a), ramp: true });
                            steps.push(Step { at: at + quarters.scaled(1, 2), pace: tidy(m), ramp: true });
                        }
                        None => steps.push(Step { at, pace, ramp: false }),
                    }
                }
            }
            (at, time, old_at) = (place.at, hit.time, was[i]);
        }
        // What followed the last hit follows it still.
        if let Some(a) = old_at {
            copy(&mut steps, a, None, at);
        }
        steps.dedup_by(|b, a| a.pace == b.pace && !a.ramp && !b.ramp);
        let mut out = self.propose("refit", &steps, &fit.places, fit.cost);
        let kept = problem.kept.iter().filter(|k| k.is_some()).count();
        let word = if kept == 1 { "stretch keeps its tempo" } else { "stretches keep their tempi" };
        out.costs.insert(0, format!("{kept} of {} {word}.", problem.kept.len()));
        Some(out)
    }
}
