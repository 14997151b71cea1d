//! The read-through of a cue: what the composer silenced is told apart, what only living players feel folds away for samples.

use crate::render::place;
use crate::{Cue, InPrint, Performed, spectra};
use ripieno_music::{Content, Finding, Part, Reading, Score, Severity, Track};
use ripieno_plan::{Accepted, ChairPlan, Diagnostic, HallKind, Plan, Purpose, nearest};
use ripieno_readthrough::rules::{self, Concern};
use ripieno_readthrough::solve::Charts;
use ripieno_readthrough::solve::charts::charts;
use ripieno_readthrough::{Arc, Desk, Room, Table};
use ripieno_signal::Position;
use ripieno_units::{Seconds, math};
use std::collections::BTreeMap;

/// A cue, read through.
#[derive(Clone, Debug, Default)]
pub struct Checked {
    /// What is open, the most pressing kind first, then by bar.
    pub findings: Vec<Finding>,
    /// What only living players feel, where the plan is for samples.
    pub folded: Vec<Finding>,
    /// What the plan accepts, each with its reason.
    pub accepted: Vec<(Finding, String)>,
    /// Words of `[accept]` that silence nothing any more.
    pub idle: Vec<String>,
    /// Pedals of harps and tunings of timpani.
    pub charts: Charts,
    /// How the cue grows.
    pub arc: Arc,
    /// What was found in the parts as cast; tracks are chairs in the order of [`Checked::chairs`].
    pub reading: Reading,
    /// The chairs that were read, in score order.
    pub chairs: Vec<String>,
    /// The numbers that the source prints for the bars.
    pub in_print: InPrint,
}

/// Reads a performed cue through.
pub fn check(cue: &Cue, performed: &Performed) -> Checked {
    check_with(cue, performed, None)
}

/// The same, dropped once `stop` says so between two stages.
pub(crate) fn check_unless(
    cue: &Cue,
    performed: &Performed,
    stop: &(dyn Fn() -> bool + Sync),
) -> Option<Checked> {
    let desks = desks(cue, performed, &|_| true);
    let reading = ripieno_discovery::read(&as_score(cue, &desks));
    if stop() {
        return None;
    }
    Some(check_with(cue, performed, Some(&|_| reading.clone())))
}

/// The same with the reading of a check before it, whose parts were these.
pub fn check_as_read(cue: &Cue, performed: &Performed, reading: &Reading) -> Checked {
    check_with(cue, performed, Some(&|_| reading.clone()))
}

/// Gives the reading for chairs in an order.
type ReadingFor<'a> = &'a dyn Fn(&[&str]) -> Reading;

/// The same where every chair plays as written and the source was read already: `read` gives the reading for chairs in this
/// order.
pub(crate) fn check_with(cue: &Cue, performed: &Performed, read_already: Option<ReadingFor<'_>>) -> Checked {
    let desks = desks(cue, performed, &|_| true);
    let reading = match read_already {
        Some(read) => read(&desks.iter().map(Desk::id).collect::<Vec<_>>()),
        None => ripieno_discovery::read(&as_score(cue, &desks)),
    };
    let table = Table {
        timeline: &performed.performance.timeline,
        clock: performed.performance.timeline.clock(),
        plan: &cue.plan,
        desks,
    };
    let (found, arc, charts) = ripieno_readthrough::read_through(&table, &reading, &spectra::House);
    let mut checked = Checked {
        arc,
        charts,
        chairs: table.desks.iter().map(|d| d.id().to_string()).collect(),
        reading,
        in_print: InPrint::of(&performed.performance.timeline, &cue.score.tracks),
        ..Checked::default()
    };
    sort_out(cue, performed.findings.iter().cloned().chain(found), &mut checked);
    checked
}

/// The desks of the chairs that play and that are wanted, in order.
fn desks<'a>(cue: &'a Cue, performed: &'a Performed, wanted: &dyn Fn(&ChairPlan) -> bool) -> Vec<Desk<'a>> {
    let read: Vec<(&ChairPlan, &Part)> = performed
        .performance
        .chairs
        .iter()
        .filter_map(|p| {
            let chair = cue.template.chairs.iter().find(|c| c.id == p.chair && !c.outside && wanted(c))?;
            Some((chair, performed.parts.iter().find(|part| part.chair == p.chair)?))
        })
        .collect();
    read.iter()
        .filter_map(|(chair, part)| {
            Some(Desk {
                chair,
                instrument: ripieno_instruments::by_id(&chair.instrument)?,
                players: chair.players.max(1),
                part,
                performance: performed.performance.chairs.iter().find(|p| p.chair == chair.id)?,
                kit: cue.plan.kits.iter().find(|k| k.chair == chair.id),
                room: room(cue, chair),
            })
        })
        .collect()
}

/// Pedals and tunings alone, of the harps and the timpani.
pub(crate) fn charts_of(cue: &Cue, performed: &Performed) -> Charts {
    let desks = desks(cue, performed, &|chair| matches!(chair.instrument.as_str(), "harp" | "timpani"));
    let timeline = &performed.performance.timeline;
    charts(&Table { timeline, clock: timeline.clock(), plan: &cue.plan, desks })
}

/// The parts as a score of their own: what was cast may be read as what was written.
fn as_score(cue: &Cue, desks: &[Desk<'_>]) -> Score {
    let track = |desk: &Desk<'_>| Track {
        id: desk.id().to_string(),
        name: desk.name().to_string(),
        instrument: Some(desk.instrument.name().to_string()),
        program: desk.instrument.programs.first().copied(),
        percussion: desk.instrument.unpitched,
        content: Content { controls: Vec::new(), ..desk.part.content.clone() },
        ..Track::default()
    };
    Score {
        title: cue.score.title.clone(),
        composer: cue.score.composer.clone(),
        timeline: cue.score.timeline.clone(),
        tracks: desks.iter().map(track).collect(),
        warnings: Vec::new(),
    }
}

/// Sound pressure of a sound power at 10 m in the open: Lp = Lw - 20 lg 10 - 11 (a sphere).
pub(crate) const OPEN_AT_10_M: f64 = -31.0;

/// How a chair's sound reaches the listener at the main microphones: Barron's revised theory for its hall.
pub(crate) fn room(cue: &Cue, chair: &ChairPlan) -> Room {
    let placing = place::placing(&cue.template, chair);
    let stage = &cue.template.stage;
    let name = placing.hall.as_ref().map_or(&stage.hall.name, |h| &h.name);
    let plan = stage.halls.iter().find(|h| &h.name == name);
    let id = plan.map_or(name.as_str(), |h| match &h.kind {
        HallKind::Room(word) => word.name.as_str(),
        // What a recording of a room measures is not needed here to within a decibel.
        HallKind::Impulse { .. } => "",
    });
    let hall = ripieno_hall::by_id(id).cloned().unwrap_or_default();
    let time = plan.map_or(stage.reverberation, |h| h.reverberation);
    let hall = time.map_or(hall.clone(), |t| hall.lasting(Seconds(t)));
    let seat = place::seated(&cue.template, chair).position;
    let distance = away(seat).max(1.0);
    let gain = placing.gain_db.unwrap_or(0.0);
    if placing.dry == Some(true) {
        let gain_db = OPEN_AT_10_M + 20.0 - 20.0 * math::log10(distance) + gain;
        return Room { gain_db, reverberation: 0.0, late_db: -100.0 };
    }
    let reverberation = hall.reverberation();
    let energies = ripieno_hall::barron(distance, hall.volume(), reverberation);
    let all = energies.direct + energies.early + energies.late;
    Room {
        gain_db: OPEN_AT_10_M + energies.strength().0 + gain,
        reverberation: reverberation.0,
        late_db: 10.0 * math::log10((energies.late / all).max(1e-10)),
    }
}

/// Metres from the first microphone of the main array.
fn away(seat: Position) -> f64 {
    let ears = ripieno_hall::arrays().first().and_then(|a| a.microphones.first());
    let ear = ears.map_or(Position { x: 0.0, y: 0.0, z: 3.0 }, |m| Position { x: 0.0, ..m.position });
    Position { x: seat.x - ear.x, y: seat.y - ear.y, z: seat.z - ear.z }.distance()
}

fn concern(finding: &Finding) -> Option<Concern> {
    rules::by_name(finding.rule).map(|r| r.concern)
}

/// The names of all rules, whoever finds by them.
pub(crate) fn rule_names() -> impl Iterator<Item = &'static str> {
    rules::all().map(|r| r.name).chain(ripieno_casting::RULES).chain(ripieno_patches::RULES)
}

/// Words of `[accept]` with a rule that there is none of, as warnings.
pub(crate) fn unknown_rules(plan: &Plan, file: &str, text: &str) -> Vec<Diagnostic> {
    let unknown = |a: &&Accepted| rule_names().all(|name| name != a.rule);
    let said = |a: &Accepted| {
        let message = format!("[accept] silences nothing here: there is no rule `{}`", a.rule);
        let help = match nearest(&a.rule, rule_names()) {
            Some(near) => format!("did you mean `{near}`?"),
            None => "write the name of a finding as `ripieno check` lists it: RULE@CHAIR:BAR".into(),
        };
        Diagnostic { warning: true, ..Diagnostic::at(file, text, a.span, message, help) }
    };
    plan.accepted.iter().filter(unknown).map(said).collect()
}

fn sort_out(cue: &Cue, found: impl Iterator<Item = Finding>, checked: &mut Checked) {
    let mut used = vec![false; cue.plan.accepted.len()];
    for finding in found {
        let covers = |a: &Accepted| a.covers(finding.rule, &finding.chair, finding.bar);
        if let Some(i) = cue.plan.accepted.iter().position(covers) {
            used[i] = true;
            checked.accepted.push((finding, cue.plan.accepted[i].reason.clone()));
        } else if cue.plan.purpose == Purpose::Samples && concern(&finding) == Some(Concern::Living) {
            checked.folded.push(finding);
        } else {
            checked.findings.push(finding);
        }
    }
    for (accepted, used) in cue.plan.accepted.iter().zip(used) {
        // What is misspelled has been said with its place, and is not to be taken out but mended.
        let chairs = &cue.template.chairs;
        let there = accepted.chair.as_ref().is_none_or(|id| chairs.iter().any(|c| c.id == *id));
        if !used && there && rule_names().any(|name| name == accepted.rule) {
            let chair = accepted.chair.as_ref().map_or(String::new(), |c| format!("@{c}"));
            let bar = accepted.bar.map_or(String::new(), |b| format!(":{b}"));
            checked.idle.push(format!("{}{chair}{bar}", accepted.rule));
        }
    }
    let samples = cue.plan.purpose == Purpose::Samples;
    // For samples what is heard and what patches lack come first; for players what can be played badly. What cannot be done at
    // all comes before either: no patch has a note that the instrument lacks.
    let first = |f: &Finding| match concern(f) {
        Some(Concern::Balance) | None => u8::from(!samples),
        Some(Concern::Notes | Concern::Living) => u8::from(samples),
    };
    let order = |a: &Finding, b: &Finding| {
        let place = |f: &Finding| {
            (f.severity != Severity::Impossible, first(f), std::cmp::Reverse(f.severity), f.bar)
        };
        place(a).cmp(&place(b))
    };
    checked.findings.sort_by(order);
    checked.folded.sort_by(order);
}

impl Checked {
    /// Something cannot be done as it stands.
    pub fn impossible(&self) -> bool {
        self.findings.iter().any(|f| f.severity == Severity::Impossible)
    }

    /// The name of a finding of these, which no other has: `RULE@CHAIR:BAR`, with the beat where several have that, and with a
    /// number where even the beat is the same.
    pub fn name(&self, finding: &Finding) -> String {
        let alike: Vec<&Finding> = self.all().filter(|f| of_name(f) == of_name(finding)).collect();
        name_among(finding, &alike)
    }

    /// The names of all open findings, then of those that are folded: for many at once.
    pub fn names(&self) -> Vec<String> {
        let mut alike: BTreeMap<(&str, &str, i32), Vec<&Finding>> = BTreeMap::new();
        self.all().for_each(|f| alike.entry(of_name(f)).or_default().push(f));
        self.all().map(|f| name_among(f, alike.get(&of_name(f)).map_or(&[], Vec::as_slice))).collect()
    }

    fn all(&self) -> impl Iterator<Item = &Finding> {
        self.findings.iter().chain(&self.folded)
    }

    /// The open or folded finding of a name that [`Checked::name`] gives; without beat the first of that bar, and the bar may be
    /// any that it holds for.
    pub fn named(&self, name: &str) -> Option<&Finding> {
        let (rule, rest) = name.split_once('@')?;
        let (chair, place) = rest.rsplit_once(':')?;
        let mine = |f: &&Finding| f.rule == rule && f.chair == chair;
        let (place, number) = match place.split_once('/') {
            Some((place, number)) => (place, number.parse::<usize>().ok()?.checked_sub(1)?),
            None => (place, 0),
        };
        if let Some((bar, beat)) = place.split_once('.') {
            let bar: i32 = bar.parse().ok()?;
            return self.all().filter(mine).filter(|f| f.bar == bar && beat_word(f) == beat).nth(number);
        }
        let bar: i32 = place.parse().ok().filter(|_| number == 0)?;
        let all = || self.all().filter(mine);
        // The one that begins there goes before one that lasts until there.
        all().find(|f| f.bar == bar).or_else(|| all().find(|f| f.bar <= bar && bar <= f.to_bar))
    }
}

/// What the plain name of a finding is made of.
fn of_name(finding: &Finding) -> (&str, &str, i32) {
    (finding.rule, &finding.chair, finding.bar)
}

/// The name of a finding among all that have its plain name.
fn name_among(finding: &Finding, alike: &[&Finding]) -> String {
    let plain = finding_name(finding);
    if alike.len() < 2 {
        return plain;
    }
    let beat = beat_word(finding);
    let mut same = alike.iter().filter(|f| beat_word(f) == beat);
    let number = 1 + same.position(|f| *f == finding).unwrap_or(0);
    if number > 1 { format!("{plain}.{beat}/{number}") } else { format!("{plain}.{beat}") }
}

/// The beat of a finding as its name has it: `4`, `2.5`.
fn beat_word(finding: &Finding) -> String {
    let text = format!("{:.3}", finding.beat);
    text.trim_end_matches('0').trim_end_matches('.').to_string()
}

/// The words by which a finding is accepted, and by which it is taken where no other has them ([`Checked::name`]).
pub fn finding_name(finding: &Finding) -> String {
    format!("{}@{}:{}", finding.rule, finding.chair, finding.bar)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn finding(bar: i32, beat: f64, message: &str) -> Finding {
        Finding {
            rule: "timpani-range",
            severity: Severity::Impossible,
            chair: "timpani".into(),
            bar,
            beat,
            to_bar: bar,
            message: message.into(),
            remedy: String::new(),
            change: None,
            source: "",
        }
    }

    #[test]
    fn no_two_findings_have_one_name() {
        let of = |bar, beat, message| finding(bar, beat, message);
        let findings = vec![
            of(3, 1.0, "C2"),
            of(3, 4.0, "D2"),
            of(3, 4.0, "A3"),
            of(5, 2.5, "C2"),
            of(5, 1.0 / 3.0, "D2"),
        ];
        let checked = Checked { findings, folded: vec![of(7, 2.0, "C2")], ..Checked::default() };
        let names: Vec<String> = checked.all().map(|f| checked.name(f)).collect();
        assert_eq!(names, checked.names());
        assert_eq!(
            names,
            ["3.1", "3.4", "3.4/2", "5.2.5", "5.0.333", "7"].map(|n| format!("timpani-range@timpani:{n}"))
        );
        for (name, finding) in names.iter().zip(checked.all()) {
            assert_eq!(checked.named(name), Some(finding), "{name}");
        }
        // Without beat: the first of the bar.
        assert_eq!(checked.named("timpani-range@timpani:3"), checked.findings.first());
        for none in ["4", "3.2", "3.4/3", "3/0", "3.4/0", "7/2", "x", "3.", "/", ""] {
            assert_eq!(checked.named(&format!("timpani-range@timpani:{none}")), None, "{none}");
        }
    }
}
