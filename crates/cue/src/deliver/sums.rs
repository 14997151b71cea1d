//! Sums of what is kept: the mix, mixes that leave somebody out, groups of a passage.

use super::audio::{Piece, Source, open};
use super::texts::Text;
use super::{Session, facts};
use crate::CueError;
use crate::fingerprint::Fingerprint;
use crate::render::kept::Facts;
use crate::render::stem::look;
use crate::render::{Stems, Watch, mixdown};
use ripieno_delivery::breakdown::{self, Scene, Talk};
use ripieno_delivery::{names, tune};
use ripieno_formats::wav::Stream;
use ripieno_plan::Without;
use std::io::BufWriter;

/// The sum of the families, kept; its key.
pub fn mix(stems: &Stems, watch: &dyn Watch) -> Result<String, CueError> {
    let families: Vec<String> = stems.families.iter().map(|(_, key)| key.clone()).collect();
    sum(stems, &families, watch)
}

fn sum(stems: &Stems, members: &[String], watch: &dyn Watch) -> Result<String, CueError> {
    let key = Fingerprint::default().of(&("sum", members)).to_string();
    if stems.kept.find(&key).is_none() {
        mixdown::family(&stems.kept, members, &key, stems.form, watch)?;
    }
    Ok(key)
}

/// When each chair has the tune, seconds from bar 1, by chair: only those who have it at some time.
fn stretches(session: &Session<'_>) -> Vec<(String, Vec<(f64, f64)>)> {
    let tail = session.stems.ring.0;
    session
        .casting
        .tune
        .iter()
        .map(|(chair, notes)| (chair.clone(), tune::out(notes, tail)))
        .filter(|(_, stretches)| !stretches.is_empty())
        .collect()
}

/// Does anybody have a tune that is known?
pub fn has_tune(session: &Session<'_>) -> bool {
    !stretches(session).is_empty()
}

/// A mix that leaves somebody out, kept; its key. None where nobody would be left out.
pub fn without(
    session: &Session<'_>,
    without: &Without,
    watch: &dyn Watch,
) -> Result<Option<String>, CueError> {
    let stems = &session.stems;
    match without {
        Without::Family(family) => {
            if !stems.families.iter().any(|(f, _)| f == family) {
                return Ok(None);
            }
            let rest: Vec<String> =
                stems.families.iter().filter(|(f, _)| f != family).map(|(_, key)| key.clone()).collect();
            sum(stems, &rest, watch).map(Some)
        }
        Without::Chair(chair) => {
            let Some(left_out) = stems.stems.iter().find(|s| !s.dry && s.chair == *chair) else {
                return Ok(None);
            };
            let mut rest = Vec::new();
            for (family, key) in &stems.families {
                if *family != left_out.family {
                    rest.push(key.clone());
                    continue;
                }
                let others =
                    stems.stems.iter().filter(|s| !s.dry && s.family == *family && s.chair != *chair);
                rest.extend(others.map(|s| s.key.clone()));
            }
            sum(stems, &rest, watch).map(Some)
        }
        Without::Tune => {
            let out = stretches(session);
            if out.is_empty() { Ok(None) } else { gated(stems, &out, watch).map(Some) }
        }
    }
}

/// Frames that are summed at a time.
const BLOCK: usize = 1 << 15;

/// The sum of all chairs, some of which are out for stretches.
fn gated(stems: &Stems, out: &[(String, Vec<(f64, f64)>)], watch: &dyn Watch) -> Result<String, CueError> {
    let members: Vec<(&str, &[(f64, f64)])> = stems
        .stems
        .iter()
        .filter(|s| !s.dry)
        .map(|s| {
            let gates = out.iter().find(|(chair, _)| *chair == s.chair);
            (s.key.as_str(), gates.map_or(&[][..], |(_, stretches)| &stretches[..]))
        })
        .collect();
    let key = Fingerprint::default().of(&("gated", &members)).to_string();
    if stems.kept.find(&key).is_some() {
        return Ok(key);
    }
    let disk = |error| CueError::Disk { path: stems.kept.path(&key), error };
    let mut sources =
        members.iter().map(|(k, _)| open(&stems.kept.path(k))).collect::<Result<Vec<_>, _>>()?;
    let file = stems.kept.fresh()?;
    let mut to = BufWriter::with_capacity(1 << 18, file.as_file());
    let mut stream = Stream::begin(&mut to, stems.form.shape, stems.form.format).map_err(disk)?;
    let mut facts = Facts::default();
    let rate = f64::from(stems.form.shape.sample_rate);
    let (mut at, mut block) = (0_u64, Vec::new());
    let mut sums = [vec![0.0_f32; BLOCK], vec![0.0_f32; BLOCK]];
    while at < stems.form.shape.frames {
        if watch.stopped() {
            return Err(CueError::Stopped);
        }
        let wanted = (stems.form.shape.frames - at).min(BLOCK as u64) as usize;
        sums.iter_mut().for_each(|s| s[..wanted].fill(0.0));
        let from = stems.stretch.from.0 + at as f64 / rate;
        let to = from + wanted as f64 / rate;
        for (source, (_, gates)) in sources.iter_mut().zip(&members) {
            source.block(wanted, &mut block).map_err(disk)?;
            let touched = gates.iter().any(|g| g.0 <= to && g.1 >= from);
            for (sum, channel) in sums.iter_mut().zip(&block) {
                for (i, (a, b)) in sum.iter_mut().zip(channel).enumerate() {
                    *a += if touched { b * tune::gain(gates, from + i as f64 / rate) } else { *b };
                }
            }
        }
        look(&mut facts, &sums[0][..wanted]);
        look(&mut facts, &sums[1][..wanted]);
        stream.block(&[&sums[0][..wanted], &sums[1][..wanted]]).map_err(disk)?;
        at += wanted as u64;
    }
    stream.end().map_err(disk)?;
    drop(to);
    stems.kept.keep(&key, file, facts)?;
    Ok(key)
}

/// A stretch of several kept files, added up, with fades at its edges.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// Keys of what is added up.
    pub members: Vec<String>,
    /// First frame.
    pub from: u64,
    /// Frame after the last.
    pub to: u64,
    /// Frames of the fade in and of the fade out.
    pub fades: (u64, u64),
    /// Amplitude of it all.
    pub gain: f32,
}

impl Part {
    /// What names its sound.
    pub fn key(&self) -> String {
        Fingerprint::default().of(self).to_string()
    }

    /// Left and right.
    pub fn sound(&self, stems: &Stems) -> Result<Vec<Vec<f32>>, CueError> {
        let frames = self.to.saturating_sub(self.from) as usize;
        let mut sums = vec![vec![0.0_f32; frames]; 2];
        let mut block = Vec::new();
        for key in &self.members {
            let path = stems.kept.path(key);
            let disk = |error| CueError::Disk { path: path.clone(), error };
            let mut source = open(&path)?;
            source.skip(self.from).map_err(disk)?;
            source.block(frames, &mut block).map_err(disk)?;
            for (sum, channel) in sums.iter_mut().zip(&block) {
                sum.iter_mut().zip(channel).for_each(|(a, b)| *a += b);
            }
        }
        let (fade_in, fade_out) = (self.fades.0.min(frames as u64), self.fades.1.min(frames as u64));
        for sum in &mut sums {
            sum.iter_mut().for_each(|x| *x *= self.gain);
            for (i, x) in sum.iter_mut().take(fade_in as usize).enumerate() {
                *x *= i as f32 / fade_in as f32;
            }
            for (i, x) in sum.iter_mut().rev().take(fade_out as usize).enumerate() {
                *x *= i as f32 / fade_out as f32;
            }
        }
        Ok(sums)
    }
}

/// Bars that a group is heard before its passage where nobody says otherwise.
const BEFORE: u32 = 2;
/// Seconds of the fades at the edges of a group, and in which it rings on after its passage (own choice).
const FADE_IN: f64 = 0.03;
const RINGS_ON: f64 = 0.6;

/// The files of the breakdown with their list.
pub struct Talks {
    pub pieces: Vec<Piece>,
    talks: Vec<Talk>,
    before: u32,
}

/// What is heard alone: files in the order of a talk, all with one gain, so that they stand to each other as in the mix.
pub fn talks(session: &mut Session<'_>, scenes: &[Scene], mix: &str, gain: f32) -> Talks {
    let talks = breakdown::choose(scenes);
    let before = session.choice.before.unwrap_or(BEFORE);
    let performed = session.performed;
    let timeline = &performed.performance.timeline;
    let rate = f64::from(session.rate());
    let (start, last) = (session.stems.stretch.from.0, session.stems.form.shape.frames);
    let frame = |seconds: f64| (((seconds - start) * rate).round().max(0.0) as u64).min(last);
    let first_bar = timeline.bars.first().map_or(1, |b| b.number);
    let at = |bar: i32| timeline.seconds(timeline.bar_numbered(bar).map_or(timeline.end(), |b| b.at)).0;
    let digits = talks.len().to_string().len().max(2);
    let mut pieces = Vec::new();
    for (number, talk) in talks.iter().enumerate() {
        let scene = &scenes[talk.scene];
        let from_bar = (scene.from_bar - i32::try_from(before).unwrap_or(0)).max(first_bar);
        let members = match talk.whole {
            true => vec![mix.to_string()],
            false => {
                let wanted = session.stems.stems.iter().filter(|s| !s.dry && talk.chairs.contains(&s.chair));
                wanted.map(|s| s.key.clone()).collect()
            }
        };
        let (from, to) = (frame(at(from_bar)), frame(at(scene.to_bar + 1) + RINGS_ON));
        let fades = ((FADE_IN * rate) as u64, (RINGS_ON * rate) as u64);
        let name = format!("{:0digits$} {}, {}", number + 1, scene.name, talk.name);
        let what = format!("{}, {}, from bar {from_bar}, stereo", scene.name, talk.name);
        let broadcast = session.broadcast(&what, 2, from);
        pieces.push(Piece {
            path: session.names.take("breakdown", &names::safe(&name), "wav"),
            kind: "breakdown",
            what,
            broadcast,
            source: Source::Part(Part { members, from, to, fades, gain }),
        });
    }
    Talks { pieces, talks, before }
}

impl Talks {
    /// The list that goes with them.
    pub fn text(&self, session: &Session<'_>, scenes: &[Scene]) -> Text {
        let files: Vec<String> =
            self.pieces.iter().map(|p| p.path.trim_start_matches("breakdown/").to_string()).collect();
        let text = breakdown::text(facts::title(session.cue), scenes, &self.talks, &files, self.before);
        Text::new("breakdown/breakdown.txt", "breakdown", "what is heard in each file", text)
    }
}
