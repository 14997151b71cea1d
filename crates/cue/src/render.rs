//! Sound: every chair in its seat, the mix, and files that are only put in place when all of them are there.

use crate::{Cue, CueError, Performed};
use rayon::prelude::*;
use ripieno_formats::wav::{SampleFormat, Wav, write_to};
use ripieno_hall::{Hall, Room};
use ripieno_mix::{MasterOptions, PlaceOptions};
use ripieno_music::ChairPerformance;
use ripieno_signal::{Position, Stereo};
use ripieno_units::{Decibels, Seconds};
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};

/// Samples a second.
const RATE: u32 = 48_000;
/// So many chairs are held in memory at once, whatever their number in all.
const AT_ONCE: usize = 6;
/// The mix before the master stays below this.
const HEADROOM: f32 = 0.89;

/// What to render, and where to.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct RenderOptions {
    /// Folder of the files.
    pub into: PathBuf,
    /// Only these chairs; all if empty.
    pub only: Vec<String>,
    /// Only this passage.
    pub passage: Option<String>,
    /// Whole bars before the passage.
    pub pre_roll: u32,
}

/// What was rendered.
#[derive(Clone, Debug, PartialEq)]
pub struct Rendered {
    /// The mix, the mix before its master, the stems.
    pub files: Vec<PathBuf>,
    /// Length, loudness and levels, in words.
    pub summary: Vec<String>,
}

/// A stretch of the performance, in seconds from bar 1.
struct Stretch {
    from: Seconds,
    to: Seconds,
    /// Where it opens, in words.
    opening: String,
}

/// Renders a cue: `mix.wav`, `mix-before-master.wav` and `stems/CHAIR.wav`, 24 bits at 48 kHz, all from the same sample on. The
/// stems add up to the mix before the master. `step` is called when a chair is done.
pub fn render(
    cue: &Cue,
    performed: &Performed,
    options: &RenderOptions,
    step: &(dyn Fn() + Sync),
) -> Result<Rendered, CueError> {
    let chairs = chosen(cue, performed, options)?;
    let stretch = stretch(cue, performed, options)?;
    let hall = Hall { reverberation: Seconds(cue.template.mix.reverberation), ..Hall::default() };
    let room = ripieno_hall::prepare(&hall, RATE);
    std::fs::create_dir_all(&options.into)
        .map_err(|error| CueError::Disk { path: options.into.clone(), error })?;
    let aside = tempfile::Builder::new()
        .prefix(".rendering-")
        .tempdir_in(&options.into)
        .map_err(|error| CueError::Disk { path: options.into.clone(), error })?;
    let mut gain = Decibels(0.0);
    let mut mix = all(cue, &chairs, &room, &stretch, gain, aside.path(), step)?;
    let peak = |s: &Stereo| s.left.iter().chain(&s.right).fold(0.0_f32, |a, b| a.max(b.abs()));
    let highest = peak(&mix);
    if highest > HEADROOM {
        // One gain for the mix and for every stem, so that they still add up.
        gain = Decibels::from_amplitude(f64::from(HEADROOM / highest));
        mix = all(cue, &chairs, &room, &stretch, gain, aside.path(), &|| {})?;
    }
    let master = MasterOptions {
        sample_rate: RATE,
        loudness: cue.template.mix.loudness,
        true_peak: cue.template.mix.true_peak,
    };
    let place = |message: String| CueError::Place { path: options.into.clone(), message };
    let before = ripieno_mix::loudness(&mix, RATE).map_err(|e| place(e.to_string()))?;
    let mastered = ripieno_mix::master(&mix, &master).map_err(|e| place(e.to_string()))?;
    let seconds = mix.frames() as f64 / f64::from(RATE);
    write_wav(&aside.path().join("mix-before-master.wav"), mix)?;
    write_wav(&aside.path().join("mix.wav"), mastered.audio)?;
    let files = put_in_place(aside.path(), &options.into, &chairs)?;
    let report = mastered.report;
    let db = |value: f64| if value.is_finite() { format!("{value:.1}") } else { "silence".into() };
    Ok(Rendered {
        files,
        summary: vec![
            format!("{} chairs, {seconds:.1} s at 48 kHz and 24 bits; {}", chairs.len(), stretch.opening),
            format!(
                "mix.wav: {} LUFS integrated (target {}), range {} LU, true peak {} dBTP, gain {:.1} dB, limited by at most {:.1} dB",
                db(report.integrated_lufs),
                db(master.loudness),
                db(report.range_lu),
                db(report.true_peak_dbtp),
                report.gain_db,
                report.limited_db
            ),
            format!(
                "mix-before-master.wav: {} LUFS, true peak {} dBTP; the stems add up to it",
                db(before.integrated),
                db(before.true_peak)
            ),
        ],
    })
}

/// The chairs asked for, in score order.
fn chosen<'a>(
    cue: &Cue,
    performed: &'a Performed,
    options: &RenderOptions,
) -> Result<Vec<&'a ChairPerformance>, CueError> {
    for id in &options.only {
        if !cue.template.chairs.iter().any(|c| c.id == *id) {
            let known: Vec<&str> = cue.template.chairs.iter().map(|c| c.id.as_str()).collect();
            let near = ripieno_plan::nearest(id, known.iter().copied());
            let help = near
                .map_or_else(|| format!("known: {}", known.join(", ")), |n| format!("did you mean `{n}`?"));
            let message = format!("the template has no chair `{id}`; {help}");
            return Err(CueError::Place { path: cue.folder.clone(), message });
        }
    }
    let wanted = |id: &str| options.only.is_empty() || options.only.iter().any(|o| o == id);
    Ok(performed.performance.chairs.iter().filter(|c| wanted(&c.chair)).collect())
}

fn stretch(cue: &Cue, performed: &Performed, options: &RenderOptions) -> Result<Stretch, CueError> {
    let timeline = &performed.performance.timeline;
    let tail = Seconds(cue.template.mix.reverberation + 1.0);
    let Some(name) = &options.passage else {
        // From the start of the lead-in, as in the MIDI file.
        let lead_in = performed.patches.lead_in;
        return Ok(Stretch {
            from: -lead_in,
            to: timeline.seconds(timeline.end()) + tail,
            opening: format!("bar 1 at {:.3} s", lead_in.0),
        });
    };
    let Some(passage) = cue.plan.passages.iter().find(|p| p.name.eq_ignore_ascii_case(name)) else {
        let known: Vec<&str> = cue.plan.passages.iter().map(|p| p.name.as_str()).collect();
        let message = format!("there is no passage \"{name}\"; there are {}", known.join(", "));
        return Err(CueError::Place { path: cue.folder.clone(), message });
    };
    let first = timeline.bars.first().map_or(1, |b| b.number);
    let from = (passage.from_bar - i32::try_from(options.pre_roll).unwrap_or(i32::MAX)).max(first);
    let at = |bar: i32| timeline.bar_numbered(bar).map_or(timeline.end(), |b| b.at);
    Ok(Stretch {
        from: timeline.seconds(at(from)),
        to: timeline.seconds(at(passage.to_bar + 1)) + tail,
        opening: format!("from bar {from} to bar {}", passage.to_bar),
    })
}

/// Renders every chair to its stem, and gives their sum in score order, whatever the threads.
fn all(
    cue: &Cue,
    chairs: &[&ChairPerformance],
    room: &Room,
    stretch: &Stretch,
    gain: Decibels,
    aside: &Path,
    step: &(dyn Fn() + Sync),
) -> Result<Stereo, CueError> {
    let stems = aside.join("stems");
    std::fs::create_dir_all(&stems).map_err(|error| CueError::Disk { path: stems.clone(), error })?;
    let frames = ((stretch.to - stretch.from).0.max(0.0) * f64::from(RATE)).ceil() as usize;
    let mut mix = Stereo::silence(frames);
    for group in chairs.chunks(AT_ONCE) {
        let rendered: Vec<Result<Stereo, CueError>> = group
            .par_iter()
            .map(|chair| {
                let stem = stem(cue, chair, room, stretch, gain, frames);
                write_wav(&stems.join(format!("{}.wav", chair.chair)), stem.clone())?;
                step();
                Ok(stem)
            })
            .collect();
        for stem in rendered {
            mix.add(&stem?);
        }
    }
    Ok(mix)
}

fn stem(
    cue: &Cue,
    chair: &ChairPerformance,
    room: &Room,
    stretch: &Stretch,
    gain: Decibels,
    frames: usize,
) -> Stereo {
    let plan = cue.template.chairs.iter().find(|c| c.id == chair.chair);
    let seat = plan.and_then(|p| p.seat).map(|s| (s.x, s.y));
    let usual = ripieno_instruments::by_id(&chair.instrument).map(|i| (i.seat.x, i.seat.y));
    let (x, y) = seat.or(usual).unwrap_or((0.0, 6.0));
    let position = Position::seated(x, y);
    let options = ripieno_sound::Options {
        sample_rate: RATE,
        tuning: cue.plan.settings.a,
        seed: cue.plan.settings.seed,
        manner: ripieno_sound::Manner::Living,
    };
    let mut dry = ripieno_sound::render(chair, &options, stretch.from, stretch.to);
    dry.resize(frames, 0.0);
    let hall = ripieno_hall::respond(room, position, &dry);
    let place = PlaceOptions {
        sample_rate: RATE,
        gain: gain + Decibels(plan.map_or(0.0, |p| p.gain_db)),
        hall: Decibels(cue.template.mix.hall_db),
    };
    let mut stem = ripieno_mix::place(&dry, &hall, position, &place);
    stem.left.resize(frames, 0.0);
    stem.right.resize(frames, 0.0);
    stem
}

fn write_wav(path: &Path, audio: Stereo) -> Result<(), CueError> {
    let disk = |error| CueError::Disk { path: path.to_path_buf(), error };
    let mut out = BufWriter::with_capacity(1 << 20, std::fs::File::create(path).map_err(disk)?);
    let wav = Wav { sample_rate: RATE, channels: vec![audio.left, audio.right] };
    write_to(&mut out, &wav, SampleFormat::Int24).map_err(disk)?;
    out.flush().map_err(disk)
}

/// Moves what was rendered aside to where it belongs; until then the last good files stand.
fn put_in_place(aside: &Path, into: &Path, chairs: &[&ChairPerformance]) -> Result<Vec<PathBuf>, CueError> {
    let stems = into.join("stems");
    std::fs::create_dir_all(&stems).map_err(|error| CueError::Disk { path: stems.clone(), error })?;
    let mut names = vec!["mix.wav".to_string(), "mix-before-master.wav".to_string()];
    names.extend(chairs.iter().map(|c| format!("stems/{}.wav", c.chair)));
    let mut files = Vec::new();
    for name in names {
        let to = into.join(&name);
        std::fs::rename(aside.join(&name), &to)
            .map_err(|error| CueError::Disk { path: to.clone(), error })?;
        files.push(to);
    }
    Ok(files)
}
