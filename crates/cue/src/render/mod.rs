//! Sound: every chair in its seat, families, the mix, and a copy to listen to. Files are only put in place when all of them are
//! there.
//!
//! The stem of a chair is the truth: families are sums of the stems as they stand in their files, the mix is the sum of the
//! families. A stem whose making has not changed is not made again.

pub(crate) mod halls;
pub(crate) mod jobs;
pub(crate) mod kept;
pub(crate) mod mixdown;
pub(crate) mod origin;
pub(crate) mod place;
mod prints;
mod put;
mod seats;
pub(crate) mod stem;
pub(crate) mod stretch;
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
    /// Folder of the files; if empty the cue's own, or `excerpt` in it for what is not the whole cue, so that it replaces nothing.
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
    /// Short-term loudness of the mix, LUFS, one value for each second from the file's start.
    pub curve: Vec<f32>,
}

impl Rendered {
    /// How it sounds, for those who write about it.
    pub fn sounded(&self) -> crate::Sounded {
        crate::Sounded {
            summary: self.summary.clone(),
            remarks: self.remarks.clone(),
            curve: self.curve.clone(),
        }
    }
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
    let into = match options.into.as_os_str().is_empty() {
        false => options.into.clone(),
        true if options.only.is_empty() && options.passage.is_none() => cue.folder.clone(),
        true => cue.folder.join("excerpt"),
    };
    let disk = |error| CueError::Disk { path: into.clone(), error };
    std::fs::create_dir_all(&into).map_err(disk)?;
    put::may_be_put(cue, &into, &jobs::chairs(cue, performed, &options.only))?;
    let bits = options.bits.unwrap_or(cue.template.mix.bits);
    let Stems { stems, families, kept, form, stretch, made, mut remarks, .. } =
        stems(cue, performed, options, false, watch)?;
    let shape = form.shape;
    let seconds = shape.frames as f64 / f64::from(shape.sample_rate);
    let aside = tempfile::Builder::new().prefix(".rendering-").tempdir_in(&into).map_err(disk)?;
    let files: Vec<PathBuf> = families.iter().map(|(_, key)| kept.path(key)).collect();
    let delivered = Form { shape, format: format_of(bits) };
    let mix = aside.path().join("mix.wav");
    let (surveyed, facts) = mixdown::mix(&files, &mix, delivered, watch)?;
    let target =
        ListeningOptions { loudness: cue.template.mix.loudness, true_peak: cue.template.mix.true_peak };
    let copy = aside.path().join("listening.wav");
    let listening = mixdown::listen(&mix, &surveyed, &target, &copy, delivered, watch)?;

    let mut parts: Vec<(String, &str)> =
        stems.iter().map(|s| (format!("stems/{}.wav", s.chair), s.key.as_str())).collect();
    parts.extend(families.iter().map(|(name, key)| (format!("families/{name}.wav"), key.as_str())));
    if options.only.is_empty() && options.passage.is_none() {
        note_loudness(&cue.folder, surveyed.loudness.integrated)?;
    }
    let (written, by_hand) = put::put_in_place(&into, aside.path(), &kept, &parts, bits)?;
    remarks.extend(by_hand);
    let used: Vec<String> = parts.iter().map(|(_, key)| (*key).to_string()).collect();
    kept.tidy(cue.template.mix.cache_mb.saturating_mul(1_000_000), &used);

    for stem in &stems {
        let facts = kept.find(&stem.key).unwrap_or_default();
        if facts.clipped > 0 && bits != Bits::ThirtyTwo {
            remarks.push(clipped(&format!("stems/{}.wav", stem.chair), facts));
        }
    }
    if facts.clipped > 0 && bits != Bits::ThirtyTwo {
        remarks.push(clipped("mix.wav", facts));
    }
    let db = |value: f64| if value.is_finite() { format!("{value:.1}") } else { "no".into() };
    let report = &listening.report;
    let silent = !surveyed.loudness.true_peak.is_finite();
    if silent {
        remarks.push("mix.wav is silent: nobody who was chosen plays there".into());
    }
    let mut summary = vec![format!(
        "{}, {seconds:.1} s at {} kHz and {}; {}",
        crate::counted(stems.len(), "chair"),
        f64::from(shape.sample_rate) / 1000.0,
        bits.words(),
        stretch.opening,
    )];
    if !silent {
        summary.extend([format!(
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
            )]);
    }
    Ok(Rendered {
        files: written,
        summary,
        work: format!("{made} rendered, {} as they were", stems.len() - made),
        remarks,
        curve: surveyed.curve,
    })
}

/// What the whole mix measured when it was last rendered, LUFS: listening starts at a level that follows from it.
const LOUDNESS: &str = "loudness.txt";

pub(crate) fn note_loudness(cue: &Path, lufs: f64) -> Result<(), CueError> {
    if !lufs.is_finite() {
        return Ok(());
    }
    crate::write_file(&cue.join(kept::FOLDER).join(LOUDNESS), format!("{lufs}\n").as_bytes())
}

/// The loudness that was noted by the last render of the whole, LUFS.
pub(crate) fn noted_loudness(cue: &Path) -> Option<f64> {
    let text = std::fs::read_to_string(cue.join(kept::FOLDER).join(LOUDNESS)).ok()?;
    text.trim().parse().ok().filter(|l: &f64| l.is_finite())
}

pub(crate) fn clipped(name: &str, facts: Facts) -> String {
    format!(
        "{name}: {} samples lie above full scale and are cut off, by up to {:.1} dB; lower `gain-db` in [mix], or render with 32 bits",
        facts.clipped,
        Decibels::from_amplitude(facts.peak.into()).0
    )
}

pub(crate) fn format_of(bits: Bits) -> SampleFormat {
    match bits {
        Bits::Sixteen => SampleFormat::Int16,
        Bits::TwentyFour => SampleFormat::Int24,
        Bits::ThirtyTwo => SampleFormat::Float32,
    }
}

/// A chair's stem, as it is kept.
pub(crate) struct Stem {
    pub chair: String,
    pub family: &'static str,
    /// Without halls and distance.
    pub dry: bool,
    /// It comes from a print.
    pub print: bool,
    pub key: String,
}

/// The stems of a cue, rendered and kept, and their sums by family.
pub(crate) struct Stems {
    /// In score order; those in their halls first.
    pub stems: Vec<Stem>,
    /// Of those in their halls, in the order of the families.
    pub families: Vec<(&'static str, String)>,
    pub kept: Kept,
    pub form: Form,
    pub stretch: stretch::Stretch,
    /// Until the last hall has died away.
    pub ring: Seconds,
    /// How many were rendered.
    pub made: usize,
    pub remarks: Vec<String>,
}

/// Renders what is not kept already; with `dry` every chair without halls as well.
pub(crate) fn stems(
    cue: &Cue,
    performed: &Performed,
    options: &RenderOptions,
    dry: bool,
    watch: &dyn Watch,
) -> Result<Stems, CueError> {
    stretch::check_chairs(cue, &options.only)?;
    let rate = options.rate.unwrap_or(cue.template.mix.rate);
    let bits = options.bits.unwrap_or(cue.template.mix.bits);
    let chairs = jobs::chairs(cue, performed, &options.only);
    let mut placings: Vec<_> =
        chairs.iter().map(|c| (*c, false, place::placing(&cue.template, c.plan))).collect();
    if dry {
        placings.extend(chairs.iter().map(|c| {
            let placing = place::placing(&cue.template, c.plan);
            (*c, true, ripieno_plan::Placing { dry: Some(true), ..placing })
        }));
    }
    let halls = Halls::prepare(cue, placings.iter().map(|p| &p.2), rate)?;
    let ring = halls.longest();
    let stretch = stretch::stretch(cue, performed, options, Seconds(ring.0 + 1.0))?;
    let frames = ((stretch.to - stretch.from).0.max(0.0) * f64::from(rate)).ceil() as u64;
    let shape = Shape { sample_rate: rate, channels: 2, frames };
    // Sixteen bits are too few to be summed: what is kept has more.
    let exact = if bits == Bits::ThirtyTwo { SampleFormat::Float32 } else { SampleFormat::Int24 };
    let form = Form { shape, format: exact };
    let kept = Kept::open(&cue.folder)?;

    let mut remarks = Vec::new();
    let mut fonts = jobs::Fonts::new();
    let mut origins: BTreeMap<&str, jobs::Origin> = BTreeMap::new();
    let mut made_stems = Vec::new();
    let mut jobs: Vec<Job<'_>> = Vec::new();
    for (chair, dry, placing) in &placings {
        let origin = match origins.get(chair.plan.id.as_str()) {
            Some(known) => known.clone(),
            None => {
                let origin = jobs::origin(cue, performed, chair, rate, &mut fonts, &mut remarks);
                origins.insert(&chair.plan.id, origin.clone());
                origin
            }
        };
        let way = Way {
            template: &cue.template,
            placing,
            seated: place::seated(&cue.template, chair.plan),
            loudness: origin.loudness(),
            halls: &halls,
            rate,
        };
        let print = matches!(origin, jobs::Origin::Print { .. });
        let job = Job::new(cue, *chair, origin, way, &stretch, form);
        made_stems.push(Stem {
            chair: chair.plan.id.clone(),
            family: place::family(chair.plan),
            dry: *dry,
            print,
            key: job.key.clone(),
        });
        // A chair that is dry anyway has one stem.
        if !jobs.iter().any(|j| j.key == job.key) {
            jobs.push(job);
        }
    }
    let missing: Vec<&Job<'_>> = jobs.iter().filter(|j| kept.find(&j.key).is_none()).collect();
    let seconds = frames as f64 / f64::from(rate);
    watch.begin(missing.len(), seconds * missing.len() as f64, jobs.len() - missing.len());
    missing
        .par_iter()
        .with_max_len(1)
        .map(|job| job.render(cue, &stretch, form, &kept, watch))
        .collect::<Result<Vec<()>, CueError>>()?;
    let made = missing.len();
    let families = families(&made_stems, form, &kept, watch)?;
    Ok(Stems { stems: made_stems, families, kept, form, stretch, ring, made, remarks })
}

/// Sums of the families that play, in score order, with their keys.
fn families(
    stems: &[Stem],
    form: Form,
    kept: &Kept,
    watch: &dyn Watch,
) -> Result<Vec<(&'static str, String)>, CueError> {
    let mut members: BTreeMap<&str, Vec<String>> = BTreeMap::new();
    for stem in stems.iter().filter(|s| !s.dry) {
        members.entry(stem.family).or_default().push(stem.key.clone());
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
