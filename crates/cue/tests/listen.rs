//! Listening as its user hears it: the sound of the render, wherever one begins; what is chosen, and nothing else; and no more work
//! than a change asks for.

#![allow(clippy::unwrap_used, clippy::disallowed_methods)]

use ripieno_cue::listen::{Ask, Block, Choice, Listener, Side, What};
use ripieno_cue::{Bits, Cue, PerformOptions, Performed, RenderOptions, Unwatched};
use ripieno_formats::WavSource;
use std::fmt::Write as _;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

const BARS: i32 = 12;
const LONG: Duration = Duration::from_secs(120);

/// Twelve bars in which a tune, chords and a bass go on: slurs, plucked and struck notes among them.
fn music() -> String {
    let mut text = String::from(
        "<score-partwise version=\"4.0\"><part-list><score-part id=\"P1\"><part-name>Tune</part-name></score-part>\
         <score-part id=\"P2\"><part-name>Bass</part-name></score-part></part-list>",
    );
    for (part, octave) in [("P1", 5), ("P2", 3)] {
        let _ = write!(text, "<part id=\"{part}\">");
        for bar in 1..=BARS {
            let _ = write!(text, "<measure number=\"{bar}\">");
            if bar == 1 {
                text += "<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>";
            }
            for beat in 0..2 {
                let step = ["C", "D", "E", "G", "A"][((bar * 3 + beat * 2) % 5) as usize];
                let slur = match (part, (bar * 2 + beat) % 4) {
                    ("P1", 0) => "<notations><slur type=\"start\" number=\"1\"/></notations>",
                    ("P1", 3) => "<notations><slur type=\"stop\" number=\"1\"/></notations>",
                    _ => "",
                };
                // A rest ends the phrase, and with it what a change reaches.
                if (bar, beat) == (6, 1) {
                    text += "<note><rest/><duration>2</duration></note>";
                    continue;
                }
                let _ = write!(
                    text,
                    "<note><pitch><step>{step}</step><octave>{octave}</octave></pitch><duration>2</duration>{slur}</note>"
                );
            }
            text += "</measure>";
        }
        text += "</part>";
    }
    text + "</score-partwise>"
}

const TEMPLATE: &str = "[chair.flute]\ninstrument = \"flute\"\n[chair.timpani]\ninstrument = \"timpani\"\n\
[chair.harp]\ninstrument = \"harp\"\n[chair.violins-1]\ninstrument = \"violin\"\nplayers = 12\n\
[chair.cellos]\ninstrument = \"cello\"\nplayers = 8\n[mix]\nbits = 32\n";

fn plan(second: &str) -> String {
    format!(
        "[cue]\ntitle = \"Listen\"\nmusic = \"music.musicxml\"\ntemplate = \"template.toml\"\nseed = 3\n\
[lines]\ntune = {{ track = \"Tune\" }}\nbass = {{ track = \"Bass\" }}\n\
[[passage]]\nname = \"One\"\nbars = [1, 6]\n[passage.casting]\nflute = \"tune\"\nharp = \"tune 8vb\"\ncellos = \"bass\"\n\
[[passage]]\nname = \"Two\"\nbars = [7, 12]\n[passage.casting]\nviolins-1 = \"{second}\"\ntimpani = \"bass\"\ncellos = \"bass, pizz.\"\n"
    )
}

fn folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, text: &str| std::fs::write(folder.path().join(name), text).unwrap();
    write("music.musicxml", &music());
    write("cue.toml", &plan("tune"));
    write("template.toml", TEMPLATE);
    folder
}

fn open(folder: &Path) -> (Arc<Cue>, Arc<Performed>) {
    let cue = Cue::open(folder).unwrap();
    let performed = ripieno_cue::perform(&cue, PerformOptions::default());
    (Arc::new(cue), Arc::new(performed))
}

fn listener(folder: &Path) -> Listener {
    let (cue, performed) = open(folder);
    Listener::open(cue, performed, 2).unwrap()
}

fn chairs(ids: &[&str]) -> Choice {
    Choice { what: What::Chairs(ids.iter().map(|s| (*s).to_string()).collect()), ..Choice::default() }
}

/// From one frame to another in blocks of an odd length, without the cue's gain.
fn hear(listener: &Listener, side: Side, choice: &Choice, from: i64, to: i64) -> [Vec<f32>; 2] {
    let gain = 10f64.powf(listener.program(side).unwrap().gain_db / 20.0) as f32;
    let mut all = [Vec::new(), Vec::new()];
    let mut at = from;
    while at < to {
        let frames = 9001.min((to - at) as usize);
        let ask = Ask { side, choice: choice.clone(), from: at, frames, patience: LONG, ..Ask::default() };
        let block = listener.block(&ask).unwrap();
        assert_eq!((block.left.len(), &block.missing), (frames, &Vec::new()));
        assert_eq!(block.limited_db, 0.0, "quiet enough for the limiter to stand still");
        all[0].extend(block.left.iter().map(|x| x / gain));
        all[1].extend(block.right.iter().map(|x| x / gain));
        at += frames as i64;
    }
    all
}

fn samples(path: &Path) -> Vec<Vec<f32>> {
    let mut source = WavSource::begin(std::io::BufReader::new(std::fs::File::open(path).unwrap())).unwrap();
    let mut block = Vec::new();
    source.block(usize::MAX >> 8, &mut block).unwrap();
    block
}

fn peak(sound: &[Vec<f32>]) -> f32 {
    sound.iter().flatten().fold(0.0, |a, x| a.max(x.abs()))
}

/// dB of the highest difference, re the highest sample of the first.
fn apart(a: &[Vec<f32>], b: &[Vec<f32>]) -> f64 {
    let most =
        a.iter().zip(b).flat_map(|(a, b)| a.iter().zip(b)).fold(0.0_f32, |m, (a, b)| m.max((a - b).abs()));
    20.0 * f64::from((most / peak(a)).max(1e-9)).log10()
}

fn render(folder: &Path) {
    let (cue, performed) = open(folder);
    let options =
        RenderOptions { into: folder.to_path_buf(), bits: Some(Bits::ThirtyTwo), ..RenderOptions::default() };
    ripieno_cue::render(&cue, &performed, &options, &Unwatched).unwrap();
}

#[test]
fn stretches_are_the_stems_of_a_render_without_a_seam() {
    let rendered = folder();
    render(rendered.path());
    let fresh = folder();
    let listener = listener(fresh.path());
    let frames = listener.program(Side::Now).unwrap().grid.frames as i64;
    for id in ["flute", "timpani", "harp", "violins-1", "cellos"] {
        let stem = samples(&rendered.path().join(format!("stems/{id}.wav")));
        let heard = hear(&listener, Side::Now, &chairs(&[id]), 0, frames);
        let away = apart(&stem, &heard);
        println!("{id}: {away:.1} dB");
        assert!(away < -80.0, "{id}: {away:.1} dB");
    }
    let mix = samples(&rendered.path().join("mix.wav"));
    let all = hear(&listener, Side::Now, &Choice::default(), 0, frames);
    assert!(apart(&mix, &all) < -80.0);
    // Before and after there is nothing.
    let before = hear(&listener, Side::Now, &Choice::default(), -5000, 0);
    let after = hear(&listener, Side::Now, &Choice::default(), frames, frames + 5000);
    assert_eq!((peak(&before), peak(&after)), (0.0, 0.0));
}

#[test]
fn stems_that_are_there_are_read_and_lend_what_has_not_changed() {
    let folder = folder();
    render(folder.path());
    let listener = listener(folder.path());
    assert!(listener.finish(LONG));
    assert_eq!(listener.rendered(), 0);
    let frames = listener.program(Side::Now).unwrap().grid.frames as i64;
    let stem = samples(&folder.path().join("stems/cellos.wav"));
    let heard = hear(&listener, Side::Now, &chairs(&["cellos"]), 0, frames);
    assert!(apart(&stem, &heard) < -120.0);
    // The violins' cell changes: half of the cue, of one chair of five.
    let (cue, _) = open(folder.path());
    let changed = cue.with_plan(&plan("tune, staccato")).unwrap();
    let performed = ripieno_cue::perform(&changed, PerformOptions::default());
    assert_eq!(listener.replace(Arc::new(changed), Arc::new(performed)).unwrap(), ["violins-1"]);
    assert!(listener.finish(LONG));
    let program = listener.program(Side::Now).unwrap();
    let one = program.grid.count() as u64;
    assert!(listener.rendered() > one / 4 && listener.rendered() < one, "{} of {one}", listener.rendered());
}

#[test]
fn a_changed_cell_renders_what_it_touches() {
    let folder = folder();
    let listener = listener(folder.path());
    assert!(listener.finish(LONG));
    let before = listener.rendered();
    let grid = listener.program(Side::Now).unwrap().grid;
    let (cue, _) = open(folder.path());
    // In the last passage alone: the cellos take their bows.
    let text = plan("tune").replace("cellos = \"bass, pizz.\"", "cellos = \"bass\"");
    let changed = cue.with_plan(&text).unwrap();
    let performed = ripieno_cue::perform(&changed, PerformOptions::default());
    assert_eq!(listener.replace(Arc::new(changed), Arc::new(performed)).unwrap(), ["cellos"]);
    assert!(listener.finish(LONG));
    let touched = listener.rendered() - before;
    // Half of the bars, what rings on, and one stretch at the seam.
    let bound = (grid.count() / 2 + 4) as u64;
    assert!(touched > 4 && touched <= bound, "{touched} of {} stretches", grid.count());
    // And back again: nothing is rendered twice.
    let now = listener.rendered();
    let (cue, performed) = open(folder.path());
    listener.replace(cue, performed).unwrap();
    assert!(listener.finish(LONG));
    assert_eq!(listener.rendered(), now);
}

#[test]
fn choices_add_up_to_the_mix() {
    let folder = folder();
    let listener = listener(folder.path());
    let (from, to) = (100_000, 600_000);
    let mix = hear(&listener, Side::Now, &Choice::default(), from, to);
    let sum = |parts: &[Choice]| {
        let mut sum = vec![vec![0.0; mix[0].len()]; 2];
        for part in parts {
            for (sum, side) in sum.iter_mut().zip(hear(&listener, Side::Now, part, from, to)) {
                sum.iter_mut().zip(side).for_each(|(a, b)| *a += b);
            }
        }
        sum
    };
    let one = chairs(&["harp", "cellos"]);
    assert!(apart(&mix, &sum(&[one.clone(), Choice { except: true, ..one }])) < -110.0);
    let family = |f: &str| Choice { what: What::Family(f.into()), ..Choice::default() };
    let families = ["woodwind", "percussion", "plucked", "strings"].map(family);
    assert!(apart(&mix, &sum(&families)) < -110.0);
    let lines = ["tune", "bass"].map(|l| Choice { what: What::Line(l.into()), ..Choice::default() });
    assert!(apart(&mix, &sum(&lines)) < -110.0, "{}", apart(&mix, &sum(&lines)));
    // A line is whoever plays it: the flute and the harp first, then the violins.
    let tune = hear(&listener, Side::Now, &lines[0], from, to);
    let players = hear(&listener, Side::Now, &chairs(&["flute", "harp", "violins-1"]), from, to);
    assert!(apart(&tune, &players) < -110.0);
    // Softer beside it.
    let beside = Choice { others_db: Some(-6.0), ..chairs(&["cellos"]) };
    let alone = hear(&listener, Side::Now, &chairs(&["cellos"]), from, to);
    let both = hear(&listener, Side::Now, &beside, from, to);
    let factor = 10f32.powf(-0.3);
    let wanted: Vec<Vec<f32>> =
        (0..2).map(|s| mix[s].iter().zip(&alone[s]).map(|(m, a)| a + factor * (m - a)).collect()).collect();
    assert!(apart(&wanted, &both) < -100.0);
}

#[test]
fn what_is_too_loud_is_limited() {
    let folder = folder();
    let listener = listener(folder.path());
    let frames = 48_000;
    let mut loud = [Vec::new(), Vec::new()];
    let mut limited = 0.0_f64;
    for at in (0..10).map(|i| i * frames as i64) {
        // Far too loud: the level of the cue is for all chairs together.
        let ask = Ask { gain_db: 12.0, from: at, frames, patience: LONG, ..Ask::default() };
        let Block { left, right, limited_db, .. } = listener.block(&ask).unwrap();
        limited = limited.max(limited_db);
        loud[0].extend(left);
        loud[1].extend(right);
    }
    assert!(limited > 0.5, "{limited}");
    for side in &loud {
        let peaks = ripieno_signal::measure::true_peaks(side, 48_000.0);
        let peak = peaks.iter().fold(0.0_f32, |a, x| a.max(*x));
        assert!(20.0 * peak.log10() <= -1.0, "{peak}");
    }
}

#[test]
fn the_listener_comes_first_and_leaving_ends_the_work() {
    let folder = folder();
    let listener = listener(folder.path());
    let grid = listener.program(Side::Now).unwrap().grid;
    let late = grid.frames as i64 - 6 * i64::from(grid.rate);
    let ask = Ask { choice: chairs(&["violins-1"]), from: late, frames: 12_000, ..Ask::default() };
    // Nobody waits: what is not there is named, and silent.
    let block = listener.block(&ask).unwrap();
    assert_eq!(block.missing, ["violins-1"]);
    assert_eq!(peak(&[block.left, block.right]), 0.0);
    let block = listener.block(&Ask { patience: LONG, ..ask.clone() }).unwrap();
    assert!(block.missing.is_empty() && peak(&[block.left, block.right]) > 0.0);
    let (ready, all) = listener.program(Side::Now).unwrap().ready;
    assert!(listener.rendered() < (all / 2) as u64, "{} of {all}, {ready} ready", listener.rendered());
    let shown = listener.frame_of_bar(Side::Now, 7, 2).unwrap();
    assert_eq!(grid.seconds(shown).0, 8.0, "bar 5 of two-second bars");
    assert_eq!(listener.frame_of_bar(Side::Now, 1, 2), listener.frame_of_bar(Side::Now, 1, 0));
    drop(listener);
    // What was rendered is there for the next one.
    let again = self::listener(folder.path());
    let block = again.block(&Ask { patience: LONG, ..ask }).unwrap();
    assert!(block.missing.is_empty());
}

#[test]
fn two_castings_are_heard_at_one_loudness() {
    let folder = folder();
    let listener = listener(folder.path());
    assert!(listener.block(&Ask { side: Side::Kept, ..Ask::default() }).is_err());
    listener.keep();
    let (cue, _) = open(folder.path());
    let other =
        cue.with_plan(&plan("tune 8va, ff").replace("flute = \"tune\"", "flute = \"tune, pp\"")).unwrap();
    let performed = ripieno_cue::perform(&other, PerformOptions::default());
    listener.replace(Arc::new(other), Arc::new(performed)).unwrap();
    let from = listener.frame_of_bar(Side::Now, 7, 0).unwrap();
    let range = (from, from + 8 * 48_000);
    let level = |side| listener.loudness(side, &Choice::default(), range, LONG).unwrap().unwrap();
    let (now, kept) = (level(Side::Now), level(Side::Kept));
    assert!(now > kept + 1.0, "{now} {kept}");
    let heard = |side, gain_db| {
        let ask = Ask { side, gain_db, from, frames: 8 * 48_000, patience: LONG, ..Ask::default() };
        let block = listener.block(&ask).unwrap();
        block.left.iter().chain(&block.right).map(|x| f64::from(*x).powi(2)).sum::<f64>()
    };
    let (a, b) = (heard(Side::Now, kept - now), heard(Side::Kept, 0.0));
    assert!((10.0 * (a / b).log10()).abs() < 3.0, "equally loud, not equal in power");
}
