//! Small cues built by hand, cast, performed and read through.

use ripieno_casting::cast;
use ripieno_music::{
    Change, Colour, Direction, DirectionKind, Dynamic, Edit, Finding, Metre, Note, Part, Performance,
    Playing, Reading, Score, Severity, Syllable, SyllablePlace, Timeline, Track,
};
use ripieno_performance::{Options, Performer, perform};
use ripieno_plan::{CellWords, Plan, Template};
use ripieno_readthrough::{Desk, Room, Spectra, Spectrum, Table, playable};
use ripieno_units::Beats;

/// Sounds of nothing: for rules that do not listen.
struct Silent;

impl Spectra for Silent {
    fn note(&self, _: &str, _: Option<&str>, _: f64, _: f64, _: Option<Colour>) -> Spectrum {
        Spectrum::default()
    }
}

/// One chair with a line of its own.
pub struct Cue {
    pub score: Score,
    pub plan: Plan,
    pub template: Template,
}

pub fn b(numerator: i64, denominator: i64) -> Beats {
    Beats::new(numerator, denominator)
}

/// Notes one after the other: (key, length in quarters as a fraction); key 0 is a rest.
pub fn line(notes: &[(i16, (i64, i64))]) -> Vec<Note> {
    let mut at = Beats::ZERO;
    let mut out = Vec::new();
    for (key, (n, d)) in notes {
        let length = b(*n, *d);
        if *key > 0 {
            out.push(Note::plain(at, length, *key));
        }
        at += length;
    }
    out
}

pub fn slur(mut notes: Vec<Note>) -> Vec<Note> {
    let last = notes.len() - 1;
    for (i, n) in notes.iter_mut().enumerate() {
        (n.slurred, n.slurs_on) = (i > 0, i < last);
    }
    notes
}

pub fn sung(mut notes: Vec<Note>, syllables: &[&str]) -> Vec<Note> {
    for (note, text) in notes.iter_mut().zip(syllables.iter().cycle()) {
        note.syllable = Some(Syllable {
            text: (*text).to_string(),
            place: SyllablePlace::Single,
            extends: false,
            verse: 1,
        });
    }
    notes
}

pub fn mark(at: i64, dynamic: Dynamic) -> Direction {
    direction(at, DirectionKind::Dynamic(dynamic))
}

pub fn word(at: i64, playing: Playing) -> Direction {
    direction(at, DirectionKind::Playing(playing))
}

pub fn direction(at: i64, kind: DirectionKind) -> Direction {
    Direction { at: Beats::whole(at), staff: None, voice: None, kind }
}

impl Cue {
    /// One chair at so many quarters a minute in 4/4, in one passage.
    pub fn of(
        instrument: &str,
        players: u16,
        tempo: f64,
        notes: Vec<Note>,
        directions: Vec<Direction>,
    ) -> Self {
        let end = notes.iter().map(Note::end).max().unwrap_or_default().quarters();
        let bars = ((end / 4.0).ceil() as usize).max(1);
        let mut track = Track { id: "P1".into(), name: "part".into(), ..Track::default() };
        track.content.notes = notes;
        track.content.directions = directions;
        track.content.sort();
        let score = Score {
            title: None,
            composer: None,
            timeline: Timeline::regular(bars, Metre { beats: 4, unit: 4 }, tempo),
            tracks: vec![track],
            warnings: Vec::new(),
        };
        let text = format!(
            "[cue]\ntitle = \"T\"\nmusic = \"t.mid\"\ntemplate = \"template.toml\"\n[lines]\nchair = {{ track = \"part\" }}\n\
             [[passage]]\nname = \"A\"\nbars = [1, {bars}]\n[passage.casting]\nchair = \"as written\"\n"
        );
        let (plan, found) = Plan::parse("cue.toml", &text);
        assert!(found.is_empty(), "{found:?}");
        let (template, found) = Template::parse(
            "template.toml",
            &format!("[chair.chair]\ninstrument = \"{instrument}\"\nplayers = {players}\n"),
        );
        assert!(found.is_empty(), "{found:?}");
        Self { score, plan, template }
    }

    /// With another chair, `other`, that has a part of its own.
    pub fn beside(mut self, name: &str, instrument: &str, notes: Vec<Note>) -> Self {
        let mut track = Track { id: "P2".into(), name: "second".into(), ..Track::default() };
        track.content.notes = notes;
        track.content.sort();
        self.score.tracks.push(track);
        let bars = self.score.timeline.bars.len();
        let (plan, found) = Plan::parse(
            "cue.toml",
            &format!(
                "[cue]\ntitle = \"T\"\nmusic = \"t.mid\"\ntemplate = \"template.toml\"\n[lines]\n\
                 chair = {{ track = \"part\" }}\nother = {{ track = \"second\" }}\n[[passage]]\nname = \"A\"\n\
                 bars = [1, {bars}]\n[passage.casting]\nchair = \"as written\"\nother = \"as written\"\n"
            ),
        );
        assert!(found.is_empty(), "{found:?}");
        let own = &self.template.chairs[0];
        let (template, found) = Template::parse(
            "template.toml",
            &format!(
                "[chair.chair]\ninstrument = \"{}\"\nplayers = {}\n[chair.other]\nname = \"{name}\"\n\
                 instrument = \"{instrument}\"\nplayers = 1\n",
                own.instrument, own.players
            ),
        );
        assert!(found.is_empty(), "{found:?}");
        (self.plan, self.template) = (plan, template);
        self
    }

    /// With a second passage, `B`, from this bar on.
    pub fn split(mut self, bar: i32) -> Self {
        let bars = self.score.timeline.bars.len();
        let (plan, found) = Plan::parse(
            "cue.toml",
            &format!(
                "[cue]\ntitle = \"T\"\nmusic = \"t.mid\"\ntemplate = \"template.toml\"\n[lines]\n\
                 chair = {{ track = \"part\" }}\n[[passage]]\nname = \"A\"\nbars = [1, {}]\n[passage.casting]\n\
                 chair = \"as written\"\n[[passage]]\nname = \"B\"\nbars = [{bar}, {bars}]\n[passage.casting]\n\
                 chair = \"as written\"\n",
                bar - 1
            ),
        );
        assert!(found.is_empty(), "{found:?}");
        self.plan = plan;
        self
    }

    pub fn cell(mut self, text: &str) -> Self {
        self.set("A", "chair", text);
        self
    }

    fn set(&mut self, passage: &str, chair: &str, text: &str) {
        let (words, faults) =
            CellWords::parse_with(text, &|word| ripieno_plan::ARTICULATIONS.contains(&word));
        assert!(faults.is_empty(), "{text}: {faults:?}");
        let passage = self.plan.passages.iter_mut().find(|p| p.name == passage).unwrap();
        let cell = passage.cells.iter_mut().find(|c| c.chair == chair).unwrap();
        (cell.text, cell.words) = (text.to_string(), words);
    }

    /// Makes the change that a finding offers.
    pub fn apply(&mut self, change: &Change) {
        for edit in &change.edits {
            match edit {
                Edit::Cell { passage, chair, text } => self.set(passage, chair, text),
                other => panic!("{other}"),
            }
        }
    }

    /// Parts and performance.
    pub fn played(&self) -> (Vec<Part>, Performance) {
        let (parts, found) = cast(&self.score, &self.plan, &self.template);
        assert!(found.iter().all(|f| f.severity != Severity::Impossible), "{found:?}");
        let performers: Vec<Performer<'_>> = parts
            .iter()
            .map(|part| {
                let chair = self.template.chairs.iter().find(|c| c.id == part.chair).unwrap();
                let instrument = ripieno_instruments::by_id(&chair.instrument).unwrap();
                Performer { part, instrument, players: chair.players.max(1) }
            })
            .collect();
        let passages: Vec<_> = self
            .plan
            .passages
            .iter()
            .filter_map(|p| self.score.timeline.bar_numbered(p.from_bar).map(|bar| (p.name.clone(), bar.at)))
            .collect();
        let options = Options { asynchrony: 0.0, ..Options::default() };
        let performed = perform(&self.score.timeline, &performers, &passages, &options);
        (parts, performed.performance)
    }

    /// Everything that the rules find.
    pub fn findings(&self) -> Vec<Finding> {
        self.at_the_table(|table, parts| {
            let before = parts.to_vec();
            let found = playable::check(table);
            assert_eq!(before, parts);
            for finding in &found {
                assert!(!finding.message.is_empty() && !finding.remedy.is_empty(), "{finding:?}");
                assert!(!finding.source.is_empty(), "{} has no source", finding.rule);
                assert!(finding.to_bar >= finding.bar, "{finding:?}");
            }
            found
        })
    }

    /// What one rule finds in the whole read-through, of an orchestra that cannot be heard.
    pub fn read_through(&self, rule: &str) -> Vec<Finding> {
        let reading = Reading::default();
        let found =
            self.at_the_table(|table, _| ripieno_readthrough::read_through(table, &reading, &Silent).0);
        found.into_iter().filter(|f| f.rule == rule).collect()
    }

    fn at_the_table<T>(&self, look: impl FnOnce(&Table<'_>, &[Part]) -> T) -> T {
        let (parts, performance) = self.played();
        let desks: Vec<Desk<'_>> = parts
            .iter()
            .filter_map(|part| {
                let chair = self.template.chairs.iter().find(|c| c.id == part.chair)?;
                Some(Desk {
                    chair,
                    instrument: ripieno_instruments::by_id(&chair.instrument)?,
                    players: chair.players.max(1),
                    part,
                    performance: performance.chairs.iter().find(|c| c.chair == part.chair)?,
                    kit: None,
                    room: Room::default(),
                })
            })
            .collect();
        let timeline = &performance.timeline;
        look(&Table { timeline, clock: timeline.clock(), plan: &self.plan, desks }, &parts)
    }

    /// What one rule finds.
    pub fn rule(&self, rule: &str) -> Vec<Finding> {
        self.findings().into_iter().filter(|f| f.rule == rule).collect()
    }
}

/// One finding of the rule, of this severity.
#[track_caller]
pub fn one(found: &[Finding], severity: Severity) -> &Finding {
    assert_eq!(found.len(), 1, "{found:#?}");
    assert_eq!(found[0].severity, severity, "{found:#?}");
    &found[0]
}
