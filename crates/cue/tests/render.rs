//! Rendering as its user sees it: files that belong together, sums that hold, what is kept and what is said.

#![allow(clippy::unwrap_used)]

use ripieno_cue::{Bits, Cue, CueError, PerformOptions, RenderOptions, Rendered, Unwatched, Watch};
use ripieno_formats::WavSource;
use std::path::{Path, PathBuf};

const MUSIC: &str = r#"<score-partwise version="4.0"><part-list>
<score-part id="P1"><part-name>Flute</part-name></score-part>
<score-part id="P2"><part-name>Violins 1</part-name></score-part>
<score-part id="P3"><part-name>Timpani</part-name></score-part></part-list>
<part id="P1"><measure number="1"><attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>
<note><pitch><step>A</step><octave>5</octave></pitch><duration>2</duration></note><note><pitch><step>B</step><octave>5</octave></pitch><duration>2</duration></note></measure></part>
<part id="P2"><measure number="1"><attributes><divisions>1</divisions></attributes>
<note><pitch><step>A</step><octave>4</octave></pitch><duration>1</duration></note><note><pitch><step>D</step><octave>4</octave></pitch><duration>3</duration></note></measure></part>
<part id="P3"><measure number="1"><attributes><divisions>1</divisions></attributes>
<note><pitch><step>D</step><octave>3</octave></pitch><duration>4</duration></note></measure></part>
</score-partwise>"#;

const PLAN: &str = "[cue]\ntitle = \"Three\"\nmusic = \"three.musicxml\"\ntemplate = \"template.toml\"\nseed = 3\n\
[lines]\nflute = { track = \"Flute\" }\nviolins-1 = { track = \"Violins 1\" }\ntimpani = { track = \"Timpani\" }\n\
[[passage]]\nname = \"All\"\nbars = [1, 1]\n[passage.casting]\nflute = \"as written\"\nviolins-1 = \"as written\"\ntimpani = \"as written\"\n";

const CHAIRS: &str = "[chair.flute]\ninstrument = \"flute\"\n[chair.violins-1]\ninstrument = \"violin\"\nplayers = 12\n\
[chair.timpani]\ninstrument = \"timpani\"\n";

fn cue(more: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, text: &str| std::fs::write(folder.path().join(name), text).unwrap();
    write("three.musicxml", MUSIC);
    write("cue.toml", PLAN);
    write("template.toml", &format!("{CHAIRS}{more}"));
    folder
}

fn rendered(folder: &Path, options: RenderOptions) -> Result<Rendered, CueError> {
    let into = if options.into.as_os_str().is_empty() { folder.to_path_buf() } else { options.into.clone() };
    rendered_as_named(folder, RenderOptions { into, ..options })
}

fn rendered_as_named(folder: &Path, options: RenderOptions) -> Result<Rendered, CueError> {
    let cue = Cue::open(folder)?;
    let performed = ripieno_cue::perform(&cue, PerformOptions::default());
    ripieno_cue::render(&cue, &performed, &options, &Unwatched)
}

fn floats() -> RenderOptions {
    RenderOptions { bits: Some(Bits::ThirtyTwo), ..RenderOptions::default() }
}

fn samples(path: &Path) -> Vec<Vec<f32>> {
    let mut source = WavSource::begin(std::io::BufReader::new(std::fs::File::open(path).unwrap())).unwrap();
    let mut block = Vec::new();
    source.block(usize::MAX >> 8, &mut block).unwrap();
    block
}

/// The highest difference between a file and the sum of others, dB re full scale.
fn difference(whole: &Path, parts: &[PathBuf]) -> f64 {
    let whole = samples(whole);
    let mut sums = vec![vec![0.0_f64; whole[0].len()]; 2];
    for part in parts {
        for (sum, channel) in sums.iter_mut().zip(samples(part)) {
            sum.iter_mut().zip(channel).for_each(|(a, b)| *a += f64::from(b));
        }
    }
    let mut most = 0.0_f64;
    for (channel, sum) in whole.iter().zip(&sums) {
        assert_eq!(channel.len(), sum.len());
        most = channel.iter().zip(sum).fold(most, |m, (a, b)| m.max((f64::from(*a) - b).abs()));
    }
    ripieno_units::Decibels::from_amplitude(most).0
}

fn files(folder: &Path) -> Vec<PathBuf> {
    let mut all: Vec<_> = std::fs::read_dir(folder).unwrap().map(|e| e.unwrap().path()).collect();
    all.sort();
    all
}

#[test]
fn stems_and_families_sum_to_the_mix() {
    let cue = cue(
        "[stage]\nhall = \"dry-studio\"\ncommon = \"chapel\"\n[family.strings]\neq = [{ hertz = 300, db = 3 }]\n",
    );
    for (bits, below) in [(Bits::ThirtyTwo, -130.0), (Bits::TwentyFour, -120.0)] {
        rendered(cue.path(), RenderOptions { bits: Some(bits), ..RenderOptions::default() }).unwrap();
        let mix = cue.path().join("mix.wav");
        assert_eq!(files(&cue.path().join("stems")).len(), 3);
        for parts in ["stems", "families"] {
            let found = difference(&mix, &files(&cue.path().join(parts)));
            assert!(found < below, "{parts}: {found} dB");
        }
    }
}

#[test]
fn what_has_not_changed_is_not_rendered_again() {
    let cue = cue("");
    let first = rendered(cue.path(), floats()).unwrap();
    assert_eq!(first.work, "3 rendered, 0 as they were");
    let before = std::fs::read(cue.path().join("stems/timpani.wav")).unwrap();
    let again = rendered(cue.path(), floats()).unwrap();
    assert_eq!(again.work, "0 rendered, 3 as they were");
    std::fs::write(
        cue.path().join("cue.toml"),
        PLAN.replace("flute = \"as written\"", "flute = \"as written, ff\""),
    )
    .unwrap();
    let changed = rendered(cue.path(), floats()).unwrap();
    assert_eq!(changed.work, "1 rendered, 2 as they were");
    assert_eq!(before, std::fs::read(cue.path().join("stems/timpani.wav")).unwrap());
    // A folder without what was kept gives the same bytes.
    let mix = std::fs::read(cue.path().join("mix.wav")).unwrap();
    std::fs::remove_dir_all(cue.path().join(".ripieno")).unwrap();
    rendered(cue.path(), floats()).unwrap();
    assert!(mix == std::fs::read(cue.path().join("mix.wav")).unwrap());
}

#[test]
fn files_of_a_folder_belong_together() {
    let cue = cue("");
    rendered(cue.path(), RenderOptions::default()).unwrap();
    let own = cue.path().join("stems/of-my-own.wav");
    std::fs::write(&own, "not ours").unwrap();
    let only = RenderOptions { only: vec!["flute".into()], ..RenderOptions::default() };
    rendered(cue.path(), only).unwrap();
    let names: Vec<_> = files(&cue.path().join("stems"));
    assert_eq!(names.len(), 2, "{names:?}");
    assert!(own.exists());
}

#[test]
fn an_excerpt_replaces_nothing_and_says_that_it_is_silent() {
    let cue = cue("");
    let here = |only: &[&str]| RenderOptions {
        into: PathBuf::new(),
        only: only.iter().map(ToString::to_string).collect(),
        ..RenderOptions::default()
    };
    rendered_as_named(cue.path(), here(&[])).unwrap();
    let whole = std::fs::read(cue.path().join("mix.wav")).unwrap();
    let part = rendered_as_named(cue.path(), here(&["flute"])).unwrap();
    assert!(part.files.iter().all(|f| f.starts_with(cue.path().join("excerpt"))), "{:?}", part.files);
    assert!(!part.remarks.iter().any(|r| r.contains("silent")), "{:?}", part.remarks);
    assert_eq!(whole, std::fs::read(cue.path().join("mix.wav")).unwrap());
    assert_eq!(files(&cue.path().join("stems")).len(), 3);
    std::fs::write(cue.path().join("cue.toml"), PLAN.replace("flute = \"as written\"", "flute = \"tacet\""))
        .unwrap();
    let silent = rendered_as_named(cue.path(), here(&["flute"])).unwrap();
    assert!(silent.remarks.iter().any(|r| r.contains("silent")), "{:?}", silent.remarks);
}

#[test]
fn sixteen_bits_and_other_rates() {
    let cue = cue("");
    for (rate, bits) in [(44_100, Bits::Sixteen), (96_000, Bits::TwentyFour)] {
        let options = RenderOptions { rate: Some(rate), bits: Some(bits), ..RenderOptions::default() };
        rendered(cue.path(), options).unwrap();
        for name in ["mix.wav", "listening.wav", "stems/flute.wav", "families/strings.wav"] {
            let file = std::fs::File::open(cue.path().join(name)).unwrap();
            let source = WavSource::begin(file).unwrap();
            assert_eq!(source.shape().sample_rate, rate, "{name}");
            assert_eq!(source.format().bytes(), if bits == Bits::Sixteen { 2 } else { 3 }, "{name}");
        }
    }
}

#[test]
fn a_print_takes_the_place_of_the_house_orchestra() {
    let cue = cue("");
    rendered(cue.path(), floats()).unwrap();
    std::fs::copy(cue.path().join("stems/flute.wav"), cue.path().join("flute-print.wav")).unwrap();
    let with = CHAIRS.replace("[chair.flute]\n", "[chair.flute]\nprint = \"flute-print.wav\"\ndry = true\n");
    std::fs::write(cue.path().join("template.toml"), &with).unwrap();
    let loaded = Cue::open(cue.path()).unwrap();
    let performed = ripieno_cue::perform(&loaded, PerformOptions::default());
    ripieno_cue::note_performed(&loaded, &performed).unwrap();
    let found = rendered(cue.path(), floats()).unwrap();
    assert!(found.remarks.iter().any(|r| r.starts_with("flute: the print")), "{:?}", found.remarks);
    assert!(!found.remarks.iter().any(|r| r.contains("older")), "{:?}", found.remarks);
    // Dry, it is what it was.
    let stem = cue.path().join("stems/flute.wav");
    assert!(difference(&stem, &[cue.path().join("flute-print.wav")]) < -120.0);
    // The plan goes on, the print does not.
    let other = PLAN.replace("flute = \"as written\"", "flute = \"as written 8va\"");
    std::fs::write(cue.path().join("cue.toml"), other).unwrap();
    let found = rendered(cue.path(), floats()).unwrap();
    assert!(found.remarks.iter().any(|r| r.contains("older than the plan")), "{:?}", found.remarks);
    // And then it is gone.
    std::fs::remove_file(cue.path().join("flute-print.wav")).unwrap();
    let found = rendered(cue.path(), floats()).unwrap();
    let said = found.remarks.iter().any(|r| r.contains("no such file") && r.contains("house orchestra"));
    assert!(said, "{:?}", found.remarks);
}

#[test]
fn a_font_that_is_none_is_said_and_the_house_plays() {
    let cue = cue("");
    std::fs::write(cue.path().join("bad.sf2"), "no font at all").unwrap();
    for file in ["bad.sf2", "gone.sf2"] {
        let with = CHAIRS.replace(
            "[chair.flute]\n",
            &format!("[chair.flute]\nfont = {{ file = \"{file}\", preset = [0, 73] }}\n"),
        );
        std::fs::write(cue.path().join("template.toml"), &with).unwrap();
        let found = rendered(cue.path(), floats()).unwrap();
        let said = found.remarks.iter().any(|r| r.starts_with("flute: the SoundFont") && r.contains(file));
        assert!(said, "{:?}", found.remarks);
        let stem = samples(&cue.path().join("stems/flute.wav"));
        assert!(stem[0].iter().any(|x| x.abs() > 1e-3));
    }
}

#[test]
fn halls_that_are_not_there_are_named_with_their_place() {
    for (more, said) in [
        ("[stage]\nhall = \"concert-hal\"\n", "did you mean `concert-hall`"),
        ("[hall.x]\nimpulse = \"gone.wav\"\n[family.strings]\nhall = \"x\"\n", "there is no file `gone.wav`"),
        ("[stage]\nseating = \"round\"\n", "american, german"),
    ] {
        let cue = cue(more);
        let error = Cue::open(cue.path()).unwrap_err().to_string();
        assert!(error.contains(said) && error.contains("template.toml:9:"), "{error}");
    }
}

#[test]
fn an_impulse_response_is_a_hall() {
    let cue = cue("[hall.mine]\nimpulse = \"mine.wav\"\n[stage]\nhall = \"mine\"\n");
    let mut noise = ripieno_signal::Noise::seeded(1);
    let response: Vec<f32> = (0..44_100)
        .map(|i| 0.2 * noise.sample() * ripieno_units::math::exp(-6.9 * f64::from(i) / 44_100.0 / 0.8) as f32)
        .collect();
    let wav = ripieno_formats::wav::Wav { sample_rate: 44_100, channels: vec![response.clone(), response] };
    let bytes = ripieno_formats::wav::write(&wav, ripieno_formats::wav::SampleFormat::Float32);
    std::fs::write(cue.path().join("mine.wav"), bytes).unwrap();
    let halls = ripieno_cue::measure_halls(cue.path()).unwrap();
    let at_1k = halls[0].measures.iter().find(|m| m.hertz == 1000.0).unwrap();
    let t30 = at_1k.t30.unwrap().0;
    assert!((t30 - 0.8).abs() < 0.08, "{t30}");
    rendered(cue.path(), floats()).unwrap();
}

struct Impatient;

impl Watch for Impatient {
    fn begin(&self, _: usize, _: f64, _: usize) {}
    fn advance(&self, _: f64) {}
    fn stopped(&self) -> bool {
        true
    }
}

#[test]
fn a_stopped_render_leaves_what_was_there() {
    let folder = cue("");
    rendered(folder.path(), floats()).unwrap();
    let mix = std::fs::read(folder.path().join("mix.wav")).unwrap();
    std::fs::write(folder.path().join("cue.toml"), PLAN.replace("seed = 3", "seed = 4")).unwrap();
    let loaded = Cue::open(folder.path()).unwrap();
    let performed = ripieno_cue::perform(&loaded, PerformOptions::default());
    let options = RenderOptions { into: folder.path().to_path_buf(), ..floats() };
    let error = ripieno_cue::render(&loaded, &performed, &options, &Impatient).unwrap_err();
    assert!(matches!(error, CueError::Stopped));
    assert!(mix == std::fs::read(folder.path().join("mix.wav")).unwrap());
    let names: Vec<String> = files(folder.path())
        .iter()
        .chain(&files(&folder.path().join(".ripieno/stems")))
        .map(|f| f.file_name().unwrap().to_string_lossy().into_owned())
        .collect();
    assert!(!names.iter().any(|n| n.starts_with(".rendering") || n.starts_with("new-")), "{names:?}");
}
