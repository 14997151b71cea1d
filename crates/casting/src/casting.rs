//! Everything that casting looks up: passages, lines, and the findings made on the way.

use crate::cell::Segment;
use crate::lines::{Keeps, NoTrack, Strand, StrandKey, find_track, strand};
use rayon::prelude::*;
use ripieno_music::{Change, Edit, Finding, Score, Severity};
use ripieno_plan::{PassagePlan, Plan, Template, quoted};
use ripieno_units::Beats;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// The rules of all findings that casting makes.
pub const RULES: [&str; 15] = [
    "passage-bars",
    "line-unknown",
    "line-track",
    "line-voice",
    "chord-left-out",
    "cell-large",
    "chair-unknown",
    "col-circle",
    "col-chain",
    "col-tacet",
    "col-octave",
    "place-unknown",
    "dynamic-place",
    "turn-empty",
    "words-count",
];

/// Where a passage lies.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Window {
    /// The barlines.
    pub(crate) start: Beats,
    pub(crate) end: Beats,
    /// What belongs to it: more than the bars at either end of the piece.
    pub(crate) from: Beats,
    pub(crate) to: Beats,
}

/// Lines as chairs play them; `None` where the score has no such line.
pub(crate) type Strands = BTreeMap<StrandKey, Option<Arc<Strand>>>;

/// Everything that casting looks things up in.
pub(crate) struct Casting<'a> {
    pub(crate) score: &'a Score,
    pub(crate) plan: &'a Plan,
    pub(crate) template: &'a Template,
    pub(crate) windows: Vec<Option<Window>>,
    pub(crate) strands: Strands,
    /// Strands that were worked out and that nobody has asked for yet.
    ready: BTreeMap<StrandKey, Arc<Strand>>,
    /// Cells worked out already, by passage and chair.
    pub(crate) known: BTreeMap<(usize, String, Beats, Beats), Vec<Segment>>,
    pub(crate) findings: Vec<Finding>,
}

impl<'a> Casting<'a> {
    pub(crate) fn new(score: &'a Score, plan: &'a Plan, template: &'a Template) -> Self {
        let windows = plan.passages.iter().map(|p| window(score, p)).collect();
        let mut casting = Self {
            score,
            plan,
            template,
            windows,
            strands: Strands::new(),
            ready: BTreeMap::new(),
            known: BTreeMap::new(),
            findings: Vec::new(),
        };
        let last = score.timeline.bars.last().map_or(0, |b| b.number);
        for (i, passage) in plan.passages.iter().enumerate() {
            let (from, to) = (passage.from_bar, passage.to_bar);
            let said = format!(
                "Passage “{}” has bars {from} to {to}, but the music ends with bar {last}.",
                passage.name
            );
            let (severity, at, remedy) = match casting.windows[i] {
                None => (
                    Severity::Hard,
                    score.timeline.end(),
                    "Change its bars; nothing is played for it.".to_string(),
                ),
                Some(window) if to > last => (
                    Severity::Advice,
                    window.start,
                    format!("Write bars = [{from}, {last}], or see whether the music was exported whole."),
                ),
                Some(_) => continue,
            };
            casting.find("passage-bars", severity, "", at, said, remedy);
        }
        casting
    }

    /// Notes a finding, once.
    pub(crate) fn find(
        &mut self,
        rule: &'static str,
        severity: Severity,
        chair: &str,
        at: Beats,
        message: String,
        remedy: String,
    ) {
        self.find_with(rule, severity, chair, at, (message, remedy, None));
    }

    /// The same with a change that settles it.
    fn find_with(
        &mut self,
        rule: &'static str,
        severity: Severity,
        chair: &str,
        at: Beats,
        (message, remedy, change): (String, String, Option<Change>),
    ) {
        let finding = Finding { change, ..self.finding(rule, severity, chair, at, message, remedy) };
        note(&mut self.findings, finding);
    }

    /// A finding in words, which nobody has noted yet.
    pub(crate) fn finding(
        &self,
        rule: &'static str,
        severity: Severity,
        chair: &str,
        at: Beats,
        message: String,
        remedy: String,
    ) -> Finding {
        debug_assert!(RULES.contains(&rule), "{rule} is not in the list of rules");
        // What belongs to the first and the last passage reaches beyond the music.
        let timeline = &self.score.timeline;
        let place = timeline.place(at.clamp(timeline.start(), timeline.end().max(timeline.start())));
        Finding {
            rule,
            severity,
            chair: chair.into(),
            bar: place.bar,
            beat: place.beat,
            to_bar: place.bar,
            message,
            remedy,
            change: None,
            source: "the casting plan",
        }
    }

    /// The strand of a key; `None`, with a finding, where there is none.
    pub(crate) fn strand(&mut self, key: &StrandKey, chair: &str, at: Beats) -> Option<Arc<Strand>> {
        if let Some(known) = self.strands.get(key) {
            return known.clone();
        }
        let made = match &key.keeps {
            None => self.make(key, chair, at),
            Some(Keeps { line, kept, moved }) => {
                let own = StrandKey::of_line(line);
                let plain = self.strand(&StrandKey { keeps: None, ..key.clone() }, chair, at);
                match (plain, self.strand(&own, chair, at)) {
                    (Some(plain), Some(own)) => Some(
                        self.ready
                            .remove(key)
                            .unwrap_or_else(|| Arc::new(plain.keeping(&own, *kept, *moved))),
                    ),
                    (plain, _) => plain,
                }
            }
        };
        self.strands.insert(key.clone(), made.clone());
        made
    }

    /// Has the strands of all these segments worked out side by side, for [`Self::strand`] to take them; what is found on the
    /// way is found there.
    pub(crate) fn make_ready(&mut self, chairs: &[Vec<Segment>]) {
        let asked: BTreeSet<&StrandKey> =
            chairs.iter().flatten().map(|s| &s.key).filter(|key| !self.strands.contains_key(*key)).collect();
        let plain: BTreeSet<StrandKey> = asked
            .iter()
            .flat_map(|key| {
                let own = key.keeps.as_ref().map(|keeps| StrandKey::of_line(&keeps.line));
                own.into_iter().chain([StrandKey { keeps: None, ..(*key).clone() }])
            })
            .filter(|key| !self.strands.contains_key(key))
            .collect();
        let read = |key: StrandKey| {
            let def = self.plan.lines.iter().find(|l| l.name == key.line)?;
            let strand = strand(find_track(self.score, &def.track).ok()?, def, &key).ok()?;
            Some((key, Arc::new(strand)))
        };
        let read: BTreeMap<StrandKey, Arc<Strand>> =
            plain.into_par_iter().filter_map(read).collect::<Vec<_>>().into_iter().collect();
        let known = |key: &StrandKey| read.get(key).cloned().or_else(|| self.strand_made(key));
        let keeping = |key: &StrandKey| {
            let Keeps { line, kept, moved } = key.keeps.as_ref()?;
            let plain = known(&StrandKey { keeps: None, ..key.clone() })?;
            Some((key.clone(), Arc::new(plain.keeping(&*known(&StrandKey::of_line(line))?, *kept, *moved))))
        };
        let made: Vec<(StrandKey, Arc<Strand>)> = asked.into_par_iter().filter_map(keeping).collect();
        self.ready.extend(read.into_iter().chain(made));
    }

    /// Makes the strands of a chair's segments.
    pub(crate) fn make_strands(&mut self, chair: &str, segments: &[Segment]) {
        for segment in segments {
            self.strand(&segment.key, chair, segment.from);
        }
    }

    /// The same, if it was made before.
    pub(crate) fn strand_made(&self, key: &StrandKey) -> Option<Arc<Strand>> {
        self.strands.get(key).cloned().flatten()
    }

    fn make(&mut self, key: &StrandKey, chair: &str, at: Beats) -> Option<Arc<Strand>> {
        let Some(def) = self.plan.lines.iter().find(|l| l.name == key.line) else {
            let names: Vec<&str> = self.plan.lines.iter().map(|l| l.name.as_str()).collect();
            let near = ripieno_plan::nearest(&key.line, names.iter().copied());
            self.find(
                "line-unknown",
                Severity::Impossible,
                chair,
                at,
                if key.line == chair {
                    format!("`as written` means the line `{chair}`, and [lines] has none of that name.")
                } else {
                    format!("There is no line `{}` in [lines].", key.line)
                },
                near.map_or_else(
                    || {
                        let tracks: Vec<&str> = self.score.tracks.iter().map(|t| t.name.as_str()).collect();
                        let example = tracks.first().copied().unwrap_or_default();
                        let or = match names.is_empty() {
                            true => String::new(),
                            false => format!(" Or use one of its lines: {}.", names.join(", ")),
                        };
                        format!(
                            "Add it under [lines] of cue.toml, as {} = {{ track = {} }}; the tracks are: {}.{or}",
                            key.line,
                            quoted(example),
                            tracks.join(", ")
                        )
                    },
                    |n| format!("Did you mean `{n}`?"),
                ),
            );
            return None;
        };
        let track = match find_track(self.score, &def.track) {
            Ok(track) => track,
            Err(why) => {
                let several = if let NoTrack::Several(n) = why { n } else { 0 };
                let names: Vec<&str> = self.score.tracks.iter().map(|t| t.name.as_str()).collect();
                let near = ripieno_plan::nearest(&def.track, names.iter().copied()).unwrap_or("");
                let under = |track: &str| {
                    format!("under [lines] of cue.toml, in the line {}: track = {}", def.name, quoted(track))
                };
                let mut change = None;
                let (message, remedy) = if several > 0 {
                    let ids: Vec<&str> = self
                        .score
                        .tracks
                        .iter()
                        .filter(|t| t.name.trim().eq_ignore_ascii_case(def.track.trim()))
                        .map(|t| t.id.as_str())
                        .collect();
                    (
                        format!("Line `{}`: {several} tracks are named “{}”.", def.name, def.track),
                        format!(
                            "Give the id instead of the name, {}; the ids are: {}.",
                            under(ids.first().copied().unwrap_or_default()),
                            ids.join(", ")
                        ),
                    )
                } else {
                    (
                        format!("Line `{}`: the music has no track “{}”.", def.name, def.track),
                        if near.is_empty() {
                            let example = names.first().copied().unwrap_or_default();
                            format!(
                                "Write one that it has {}; the tracks are: {}.",
                                under(example),
                                names.join(", ")
                            )
                        } else {
                            let edit = Edit::Line { name: def.name.clone(), track: near.to_string() };
                            change = Some(Change { edits: vec![edit] });
                            format!("Did you mean “{near}”? Write {}.", under(near))
                        },
                    )
                };
                self.find_with("line-track", Severity::Impossible, chair, at, (message, remedy, change));
                return None;
            }
        };
        let ready = self.ready.remove(key);
        let strand = match ready.map_or_else(|| strand(track, def, key).map(Arc::new), Ok) {
            Ok(strand) => strand,
            Err(voices) => {
                self.find(
                    "line-voice",
                    Severity::Impossible,
                    chair,
                    at,
                    format!("`{}`: the line is shared out to {voices} voices.", key.label()),
                    format!("Use a voice up to {voices}, or set more `voices` for the line."),
                );
                return None;
            }
        };
        if let Some(first) = strand.left_out.first() {
            self.find(
                "chord-left-out",
                Severity::Advice,
                "",
                *first,
                format!(
                    "Line `{}`: {} notes of its chords are more than its voices and are left out by all of them.",
                    key.line,
                    strand.left_out.len()
                ),
                "Set more `voices` for the line, or let one chair play all of it.".into(),
            );
        }
        Some(strand)
    }
}

/// Adds a finding, once.
pub(crate) fn note(findings: &mut Vec<Finding>, finding: Finding) {
    if !findings.contains(&finding) {
        findings.push(finding);
    }
}

/// Where a passage lies; `None` if it has no bar of the music.
fn window(score: &Score, passage: &PassagePlan) -> Option<Window> {
    let timeline = &score.timeline;
    let (first, last) = (timeline.bars.first()?, timeline.bars.last()?);
    if passage.from_bar > last.number || passage.to_bar < first.number || passage.to_bar < passage.from_bar {
        return None;
    }
    let start = timeline.bar_numbered(passage.from_bar.max(first.number))?;
    let end = timeline.bar_numbered(passage.to_bar.min(last.number))?;
    let (start_at, end_at) = (start.at, end.at + end.length);
    let far = Beats::whole(1 << 30);
    Some(Window {
        start: start_at,
        end: end_at,
        from: if start.number == first.number { -far } else { start_at },
        to: if end.number == last.number { far } else { end_at },
    })
}
