//! Sound: every chair in its seat, families, the mix, and a copy to listen to. Files are only put in place when all of them are
//! there.
//!
//! The stem of a chair is the truth: families are sums of the stems as they stand in their files, the mix is the sum of the
//! families. A stem whose making has not changed is not made again.

mod halls;
mod jobs;
mod kept;
mod mixdown;
mod origin;
pub(crate) mod place;
mod prints;
mod stem;
mod stretch;
mod watch;

pub use halls::{Halls, check as check_halls, impulse};
pub use prints::note_performed;
pub use watch::{Unwatched, Watch};

use crate::{Cue, CueError, Performed};
use jobs::Job;
use kept::{Facts, Kept};
use place::Way;
use rayon::prelude::*;
use ripieno_formats::wav::{SampleFormat, Shape};
use ripieno_mix::ListeningOptions;
use ripieno_plan::{Bits, FAMILIES};
use ripieno_units::{Decibels, Seconds};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use stem::Form;

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
    /// Samples a second, one of [`ripieno_plan::RATES`]; the template's if not given.
    pub rate: Option<u32>,
    /// How samples are stored; as the template says if not given.
    pub bits: Option<Bits>,
}

/// What was rendered.
#[derive(Clone, Debug, PartialEq)]
pub struct Rendered {
    /// The mix, the copy to listen to, families, stems.
    pub files: Vec<PathBuf>,
    /// Length, loudness and levels, in words.
    pub summary: Vec<String>,
    /// How many chairs were rendered, and how many were as they were: it depends on what was rendered before.
    pub work: String,
    /// What is not as it should be: prints that are missing, older than the plan, or of other notes.
    pub remarks: Vec<String>,
}

/// Renders a cue: `mix.wav`, `listening.wav`, `stems/CHAIR.wav` and `families/FAMILY.wav`, all from the same sample on. Stems add
/// up to families, and families to the mix.
///
/// Errors: names that are not there, impulse responses that cannot be read, the disk, that the work was stopped.
pub fn render(
    cue: &Cue,
    performed: &Performed,
    options: &RenderOptions,
    watch: &dyn Watch,
) -> Result<Rendered, CueError> {
    stretch::check_chairs(cue, &options.only)?;
    let disk = |error| CueError::Disk { path: options.into.clone(), error };
    std::fs::create_dir_all(&options.into).map_err(disk)?;
    let rate = options.rate.unwrap_or(cue.template.mix.rate);
    let bits = options.bits.unwrap_or(cue.template.mix.bits);
    let chairs = jobs::chairs(cue, performed, &options.only);
    let placings: Vec<_> = chairs.iter().map(|c| place::placing(&cue.template, c.plan)).collect();
    let halls = Halls::prepare(cue, &placings, rate)?;
    let tail = Seconds(halls.longest().0 + 1.0);
    let stretch = stretch::stretch(cue, performed, options, tail)?;
    let frames = ((stretch.to - stretch.from).0.max(0.0) * f64::from(rate)).ceil() as u64;
    let shape = Shape { sample_rate: rate, channels: 2, frames };
    // Sixteen bits are too few to be summed: what is kept has more.
    let exact = if bits == Bits::ThirtyTwo { SampleFormat::Float32 } else { SampleFormat::Int24 };
    let form = Form { shape, format: exact };
    let kept = Kept::open(&cue.folder)?;

    let mut remarks = Vec::new();
    let mut fonts = jobs::Fonts::new();
    let jobs: Vec<Job<'_>> = chairs
        .iter()
        .zip(&placings)
        .map(|(chair, placing)| {
            let origin = jobs::origin(cue, performed, chair, rate, &mut fonts, &mut remarks);
            let way = Way {
                template: &cue.template,
                placing,
                seated: place::seated(&cue.template, chair.plan),
                loudness: origin.loudness(),
                halls: &halls,
                rate,
            };
            Job::new(cue, *chair, origin, way, &stretch, form)
        })
        .collect();

    let missing: Vec<&Job<'_>> = jobs.iter().filter(|j| kept.find(&j.key).is_none()).collect();
    let seconds = frames as f64 / f64::from(rate);
    watch.begin(missing.len(), seconds * missing.len() as f64, jobs.len() - missing.len());
    missing
        .par_iter()
        .with_max_len(1)
        .map(|job| job.render(cue, &stretch, form, &kept, watch))
        .collect::<Result<Vec<()>, CueError>>()?;

    let families = families(&jobs, form, &kept, watch)?;
    let aside = tempfile::Builder::new().prefix(".rendering-").tempdir_in(&options.into).map_err(disk)?;
    let files: Vec<PathBuf> = families.iter().map(|(_, key)| kept.path(key)).collect();
    let delivered = Form { shape, format: format_of(bits) };
    let mix = aside.path().join("mix.wav");
    let (surveyed, facts) = mixdown::mix(&files, &mix, delivered, watch)?;
    let target =
        ListeningOptions { loudness: cue.template.mix.loudness, true_peak: cue.template.mix.true_peak };
    let copy = aside.path().join("listening.wav");
    let listening = mixdown::listen(&mix, &surveyed, &target, &copy, delivered, watch)?;

    let mut parts: Vec<(String, &str)> =
        jobs.iter().map(|j| (format!("stems/{}.wav", j.chair.plan.id), j.key.as_str())).collect();
    parts.extend(families.iter().map(|(name, key)| (format!("families/{name}.wav"), key.as_str())));
    let written = put_in_place(&options.into, aside.path(), &kept, &parts, bits)?;
    let used: Vec<String> = parts.iter().map(|(_, key)| (*key).to_string()).collect();
    kept.tidy(cue.template.mix.cache_mb.saturating_mul(1_000_000), &used);

    for job in &jobs {
        let facts = kept.find(&job.key).unwrap_or_default();
        if facts.clipped > 0 && bits != Bits::ThirtyTwo {
            remarks.push(clipped(&format!("stems/{}.wav", job.chair.plan.id), facts));
        }
    }
    if facts.clipped > 0 && bits != Bits::ThirtyTwo {
        remarks.push(clipped("mix.wav", facts));
    }
    let db = |value: f64| if value.is_finite() { format!("{value:.1}") } else { "silence".into() };
    let report = &listening.report;
    Ok(Rendered {
        files: written,
        summary: vec![
            format!(
                "{} chairs, {seconds:.1} s at {} kHz and {} bits; {}",
                jobs.len(),
                f64::from(rate) / 1000.0,
                match bits {
                    Bits::Sixteen => "16",
                    Bits::TwentyFour => "24",
                    Bits::ThirtyTwo => "32 (float)",
                },
                stretch.opening,
            ),
            format!(
                "mix.wav: {} LUFS integrated, {} momentary and {} short-term at most, range {} LU, true peak {} dBTP; one gain for mix and stems ({:.1} dB), no limiter: the stems add up to it",
                db(surveyed.loudness.integrated),
                db(surveyed.loudness.momentary),
                db(surveyed.loudness.short_term),
                db(surveyed.loudness.range),
                db(surveyed.loudness.true_peak),
                cue.template.mix.gain_db,
            ),
            format!(
                "listening.wav: {} LUFS integrated (target {}), range {} LU, true peak {} dBTP, gain {:.1} dB, limited by at most {:.1} dB, more than 0.1 dB in {:.1} % of the time",
                db(report.reached.integrated),
                db(target.loudness),
                db(report.reached.range),
                db(report.reached.true_peak),
                report.gain_db,
                report.limited_db,
                100.0 * report.limited_share,
            ),
        ],
        work: format!("{} rendered, {} as they were", missing.len(), jobs.len() - missing.len()),
        remarks,
    })
}

fn clipped(name: &str, facts: Facts) -> String {
    format!(
        "{name}: {} samples lie above full scale and are cut off, by up to {:.1} dB; lower `gain-db` in [mix], or render with 32 bits",
        facts.clipped,
        Decibels::from_amplitude(facts.peak.into()).0
    )
}

fn format_of(bits: Bits) -> SampleFormat {
    match bits {
        Bits::Sixteen => SampleFormat::Int16,
        Bits::TwentyFour => SampleFormat::Int24,
        Bits::ThirtyTwo => SampleFormat::Float32,
    }
}

/// Sums of the families that play, in score order, with their keys.
fn families(
    jobs: &[Job<'_>],
    form: Form,
    kept: &Kept,
    watch: &dyn Watch,
) -> Result<Vec<(&'static str, String)>, CueError> {
    let mut members: BTreeMap<&str, Vec<String>> = BTreeMap::new();
    for job in jobs {
        members.entry(place::family(job.chair.plan)).or_default().push(job.key.clone());
    }
    let present: Vec<(&'static str, Vec<String>)> =
        FAMILIES.into_iter().filter_map(|f| members.remove(f).map(|m| (f, m))).collect();
    present
        .into_par_iter()
        .with_max_len(1)
        .map(|(name, members)| {
            let key = crate::fingerprint::Fingerprint::default().of(&members).to_string();
            if kept.find(&key).is_none() {
                mixdown::family(kept, &members, &key, form, watch)?;
            }
            Ok((name, key))
        })
        .collect()
}

/// The list of files that the render before has put into a folder.
const LIST: &str = "rendered.txt";

/// Moves what was rendered aside to where it belongs; until then the last good files stand. What an earlier render has put
/// there, and this one has not, is taken away: all files of the folder belong together.
fn put_in_place(
    into: &Path,
    aside: &Path,
    kept: &Kept,
    parts: &[(String, &str)],
    bits: Bits,
) -> Result<Vec<PathBuf>, CueError> {
    let disk = |path: &Path, error| CueError::Disk { path: path.to_path_buf(), error };
    for name in ["stems", "families"] {
        let folder = into.join(name);
        std::fs::create_dir_all(&folder).map_err(|error| disk(&folder, error))?;
    }
    let mut names: Vec<String> = vec!["mix.wav".into(), "listening.wav".into()];
    for name in &names {
        let to = into.join(name);
        std::fs::rename(aside.join(name), &to).map_err(|error| disk(&to, error))?;
    }
    // What is delivered is what stands before the master of the copy: scripts know it by that name as well.
    let (mix, before) = (into.join(&names[0]), into.join("mix-before-master.wav"));
    let _ = std::fs::remove_file(&before);
    if std::fs::hard_link(&mix, &before).is_err() {
        std::fs::copy(&mix, &before).map_err(|error| disk(&before, error))?;
    }
    parts
        .par_iter()
        .map(|(name, key)| match bits {
            Bits::Sixteen => mixdown::convert(&kept.path(key), &into.join(name), SampleFormat::Int16),
            _ => kept.put(key, &into.join(name)),
        })
        .collect::<Result<Vec<()>, CueError>>()?;
    names.extend(parts.iter().map(|(name, _)| name.clone()));
    let list = into.join(kept::FOLDER).join(LIST);
    for old in std::fs::read_to_string(&list).unwrap_or_default().lines() {
        let ours = old.starts_with("stems/") || old.starts_with("families/");
        if ours && !old.contains("..") && !names.iter().any(|n| n == old) {
            // What cannot be deleted, or is gone already, is no reason to fail.
            let _ = std::fs::remove_file(into.join(old));
        }
    }
    crate::write_file(&list, (names.join("\n") + "\n").as_bytes())?;
    Ok(names.iter().map(|n| into.join(n)).collect())
}
