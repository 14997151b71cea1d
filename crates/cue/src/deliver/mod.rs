//! Delivering: one folder with what a mixing engineer, a music editor, a session orchestra, a client and a curious audience ask
//! for. It is built aside and put in place whole.

mod audio;
mod facts;
mod place;
mod sums;
mod texts;

use crate::render::{self, Stems, Watch, clipped};
use crate::{Checked, Cue, CueError, Performed, RenderOptions};
use audio::{Desk, Measures, Piece, Source};
use rayon::prelude::*;
use ripieno_delivery::bext::{Broadcast, SinceMidnight, coding, reference, time_reference};
use ripieno_delivery::manifest::{Entry, Manifest};
use ripieno_delivery::names::{Fields, Names, by_pattern};
use ripieno_plan::{Bits, DeliverPlan, StemKind, USUAL_NAMES, Without};
use std::path::{Path, PathBuf};

/// What is delivered, and where to.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct DeliverOptions {
    /// Folder; as the plan says, or `delivered` in the cue's folder, if empty.
    pub into: PathBuf,
    /// What goes before `[deliver]` of the plan and of the template; its lead-in is of no meaning, for the MIDI is performed.
    pub choice: DeliverPlan,
    /// Where bar 1 stands in a day, for the time reference of the sound files; as `[picture]` says if not given.
    pub start: Option<SinceMidnight>,
}

/// How the cue sounds, for those who write about it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Sounded {
    /// Length, loudness and levels, in words.
    pub summary: Vec<String>,
    /// What is not as it should be.
    pub remarks: Vec<String>,
    /// Short-term loudness of the mix, LUFS, one value for each second from the file's start.
    pub curve: Vec<f32>,
}

/// Gives the documents, names in the folder with their bytes, once it is known how the cue sounds.
pub type Documents<'a> = &'a dyn Fn(&Sounded) -> Result<Vec<(String, Vec<u8>)>, CueError>;

/// What was delivered.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Delivered {
    /// The folder.
    pub folder: PathBuf,
    /// Its files, as in the manifest.
    pub files: Vec<Entry>,
    /// How many of them, how loud the mix is, in words.
    pub summary: Vec<String>,
    /// What was made and what was as it was.
    pub work: String,
    /// What is not as it should be.
    pub remarks: Vec<String>,
}

/// Folder in the cue's where nobody says otherwise.
const FOLDER: &str = "delivered";

/// What all pieces of one deliver share.
struct Session<'a> {
    cue: &'a Cue,
    performed: &'a Performed,
    casting: facts::Casting,
    choice: DeliverPlan,
    stems: Stems,
    bits: Bits,
    /// Where the picture has bar 1.
    start: Option<SinceMidnight>,
    names: Names,
}

impl Session<'_> {
    fn rate(&self) -> u32 {
        self.stems.form.shape.sample_rate
    }

    /// The path of a sound file by the pattern.
    fn name(&mut self, folder: &str, kind: &str, stem: &str) -> String {
        let fields = Fields {
            number: self.choice.number.clone().unwrap_or_default(),
            title: facts::title(self.cue).to_string(),
            version: self.version(),
            stem: stem.to_string(),
            kind: kind.to_string(),
        };
        let pattern = self.choice.names.as_deref().unwrap_or(USUAL_NAMES);
        self.names.take(folder, &by_pattern(pattern, &fields), "wav")
    }

    fn version(&self) -> String {
        self.choice.version.clone().unwrap_or_else(|| "1".into())
    }

    /// What the `bext` chunk of a file says, but for its loudness; the file begins `from` samples after the mix.
    fn broadcast(&self, what: &str, channels: u16, from: u64) -> Broadcast {
        let number = self.choice.number.as_ref().map_or(String::new(), |n| format!("{n} "));
        let title = facts::title(self.cue);
        let described = format!("{number}{title}, version {}: {what}", self.version());
        let bits = match self.bits {
            Bits::Sixteen => 16,
            Bits::TwentyFour => 24,
            Bits::ThirtyTwo => 32,
        };
        let maker = concat!("Ripieno ", env!("CARGO_PKG_VERSION"));
        let before = self.performed.patches.lead_in.0 - from as f64 / f64::from(self.rate());
        Broadcast {
            reference: reference(&format!("{described} {:?} {}", self.cue.plan.date, self.rate())),
            description: described,
            originator: self.choice.originator.clone().unwrap_or_else(|| "Ripieno".into()),
            date: self.cue.plan.date.clone().unwrap_or_default(),
            time_reference: time_reference(self.start, before, self.rate()),
            measured: None,
            history: coding(self.rate(), bits, channels, maker),
        }
    }

    fn piece(&mut self, folder: &str, kind: &'static str, stem: &str, what: String, source: Source) -> Piece {
        let channels = if kind == "click" { 1 } else { 2 };
        Piece {
            path: self.name(folder, kind, stem),
            kind,
            broadcast: self.broadcast(&what, channels, 0),
            what,
            source,
        }
    }
}

/// Delivers a cue: what is chosen of mix, alternates, stems, click, MIDI, breakdown, sheets, with `documents`
/// and a copy of the plan, and a manifest of it all.
///
/// Errors: names that are not there; a file of somebody else's in the way; the disk; that the work was stopped. The folder is then
/// as it was.
pub fn deliver(
    cue: &Cue,
    performed: &Performed,
    checked: &Checked,
    options: &DeliverOptions,
    documents: Documents<'_>,
    watch: &dyn Watch,
) -> Result<Delivered, CueError> {
    let choice = options.choice.or(&cue.delivering());
    known(cue, &choice)?;
    let into = into(cue, options, &choice);
    let place = place::Place::open(&into)?;
    let bits = choice.bits.unwrap_or(cue.template.mix.bits);
    let kinds = choice.stems.clone().unwrap_or_else(|| StemKind::USUAL.to_vec());
    let rendering =
        RenderOptions { into: into.clone(), rate: choice.rate, bits: Some(bits), ..RenderOptions::default() };
    watch.step("rendering");
    let stems = render::stems(cue, performed, &rendering, kinds.contains(&StemKind::Dry), watch)?;
    let lead_in = performed.patches.lead_in.0;
    let rate = stems.form.shape.sample_rate;
    let mut session = Session {
        cue,
        performed,
        casting: facts::Casting::of(cue, performed, checked),
        choice,
        stems,
        bits,
        start: options.start.or_else(|| bar_one(cue)),
        names: Names::default(),
    };
    for ending in ["txt", "json"] {
        session.names.take("", "manifest", ending);
    }
    let mut remarks = std::mem::take(&mut session.stems.remarks);

    watch.step("adding up");
    let mix = sums::mix(&session.stems, watch)?;
    let mut pieces = sound(&mut session, &mix, &kinds, watch)?;
    let measures = Measures::load(&cue.folder);
    let desk = Desk { session: &session, place: &place, measures: &measures, watch };
    watch.step("measuring");
    let measured = desk.measure(&pieces)?;
    if let Some(loudness) = measured.get(&mix) {
        render::note_loudness(&cue.folder, loudness.integrated)?;
    }
    watch.step("writing sound");
    let mut files = desk.write(&pieces, &measured)?;
    let scenes = std::mem::take(&mut session.casting.scenes);
    let mut texts = Vec::new();
    if session.choice.breakdown.unwrap_or(true) {
        watch.step("the breakdown");
        let talks = sums::talks(&mut session, &scenes, &mix, talking(cue, measured.get(&mix)));
        let desk = Desk { session: &session, place: &place, measures: &measures, watch };
        files.extend(desk.write_talks(&talks.pieces)?);
        texts.push(talks.text(&session, &scenes));
        pieces.extend(talks.pieces);
    }
    measures.save(&cue.folder)?;
    watch.step("MIDI and sheets");
    remarks.extend(said(&session, &pieces));
    let sounded = Sounded {
        summary: vec![measured_words(&session, measured.get(&mix))],
        remarks: remarks.clone(),
        curve: Desk { session: &session, place: &place, measures: &measures, watch }.curve(&pieces)?,
    };
    texts.extend(texts::all(&session, &documents(&sounded)?)?);
    files.extend(place.write_texts(&mut session.names, texts)?);

    watch.step("putting in place");
    let mut entries: Vec<Entry> = files.iter().map(|f| f.entry.clone()).collect();
    entries.sort_by(|a, b| a.file.cmp(&b.file));
    let manifest = Manifest {
        title: facts::title(cue).to_string(),
        number: session.choice.number.clone().unwrap_or_default(),
        version: session.version(),
        date: cue.plan.date.clone(),
        lead_in_bars: performed.patches.lead_in_bars,
        lead_in_seconds: lead_in,
        bar_1_sample: (lead_in * f64::from(rate)).round() as u64,
        files: entries,
    };
    let lists = [("manifest.txt", manifest.text()), ("manifest.json", manifest.json())];
    for (name, text) in lists {
        files.push(place.write_text(name.into(), "manifest", "this list", text.as_bytes())?);
    }
    if watch.stopped() {
        return Err(CueError::Stopped);
    }
    let reused = files.iter().filter(|f| f.reused).count();
    let places: Vec<PathBuf> = files.iter().map(|f| under(&into, &f.entry.file)).collect();
    crate::outputs::spare(cue, places.iter().map(PathBuf::as_path))?;
    remarks.extend(place.put(&files)?);
    session.stems.kept.tidy(cue.template.mix.cache_mb.saturating_mul(1_000_000), &used(&session, &pieces));
    Ok(Delivered {
        summary: vec![summary(&session, &mix, &measured, files.len())],
        work: format!(
            "{} chairs rendered, {} as they were; {} files written, {reused} as they were",
            session.stems.made,
            session.stems.stems.len().saturating_sub(session.stems.made),
            files.len() - reused
        ),
        folder: into,
        files: manifest.files,
        remarks,
    })
}

/// Where the plan's picture has bar 1, since midnight.
fn bar_one(cue: &Cue) -> Option<SinceMidnight> {
    let zero = cue.plan.picture.as_ref()?.zero();
    let (frames, seconds) = zero.rate.fraction();
    let seconds = u64::try_from(zero.frame.checked_mul(seconds)?).ok()?;
    Some(SinceMidnight { seconds, of: u64::try_from(frames).ok()? })
}

/// Amplitude of the breakdown: as loud as the listening copy is to be, so far as the mix stays below its ceiling without a limiter.
fn talking(cue: &Cue, mix: Option<&audio::Measure>) -> f32 {
    let target = &cue.template.mix;
    let db = mix.map_or(0.0, |m| (target.loudness - m.integrated).min(target.true_peak - m.true_peak));
    if db.is_finite() { ripieno_units::Decibels(db).amplitude() as f32 } else { 1.0 }
}

/// The folder that a deliver fills.
fn into(cue: &Cue, options: &DeliverOptions, choice: &DeliverPlan) -> PathBuf {
    match options.into.as_os_str().is_empty() {
        true => cue.folder.join(choice.folder.as_deref().unwrap_or(FOLDER)),
        false => options.into.clone(),
    }
}

fn known(cue: &Cue, choice: &DeliverPlan) -> Result<(), CueError> {
    let Some((chair, near)) = choice.unknown_chairs(&cue.template).into_iter().next() else { return Ok(()) };
    let help = match near {
        Some(near) => format!("did you mean `without {near}`?"),
        None => "write `without tune`, a family, or a chair of the template".into(),
    };
    let message = format!("the alternate `without {chair}` leaves out nobody that the template has; {help}");
    Err(CueError::Place { path: cue.plan_path.clone(), message })
}

/// All sound that runs from the first sample to the last.
fn sound(
    session: &mut Session<'_>,
    mix: &str,
    kinds: &[StemKind],
    watch: &dyn Watch,
) -> Result<Vec<Piece>, CueError> {
    let mut out =
        vec![session.piece("mix", "mix", "mix", "mix, stereo".into(), Source::Kept(mix.to_string()))];
    let alternates = session.choice.alternates.clone().unwrap_or_default();
    let kept: Vec<Option<String>> = alternates
        .par_iter()
        .with_max_len(1)
        .map(|without| sums::without(session, without, watch))
        .collect::<Result<_, CueError>>()?;
    for (without, key) in alternates.iter().zip(kept) {
        let Some(key) = key else { continue };
        let name = format!("mix without {}", without.word());
        let what = match without {
            Without::Tune => "mix without whoever has the tune, while they have it, stereo".into(),
            other => format!("mix without {}, stereo", other.word()),
        };
        out.push(session.piece("mix", "alternate", &name, what, Source::Kept(key)));
    }
    if kinds.contains(&StemKind::Families) {
        for (family, key) in session.stems.families.clone() {
            let what = format!("{family}, stereo");
            out.push(session.piece("stems/families", "family", family, what, Source::Kept(key)));
        }
    }
    let chairs: Vec<(String, bool, bool, String)> =
        session.stems.stems.iter().map(|s| (s.chair.clone(), s.dry, s.print, s.key.clone())).collect();
    for (chair, dry, print, key) in chairs {
        if !kinds.contains(if dry { &StemKind::Dry } else { &StemKind::Chairs }) {
            continue;
        }
        let printed = if print { " print" } else { "" };
        let (folder, kind, name) = match (dry, print) {
            (true, _) => ("stems/dry", "dry", format!("{chair}{printed} dry")),
            (false, true) => ("stems/chairs", "print", format!("{chair} print")),
            (false, false) => ("stems/chairs", "chair", chair.clone()),
        };
        let from = if print { "its print" } else { "" };
        let words: Vec<&str> =
            [facts::printed(session.cue, &chair), from, if dry { "dry" } else { "in its hall" }, "stereo"]
                .into_iter()
                .filter(|w| !w.is_empty())
                .collect();
        let what = words.join(", ");
        out.push(session.piece(folder, kind, &name, what, Source::Kept(key)));
    }
    if session.choice.click.unwrap_or(true) {
        let bars = session.performed.patches.lead_in_bars;
        let what = format!("click with {bars} bars of count, mono");
        out.push(session.piece("click", "click", "click", what, Source::Click));
    }
    Ok(out)
}

/// What is not as one would think.
fn said(session: &Session<'_>, pieces: &[Piece]) -> Vec<String> {
    let mut out = Vec::new();
    if session.bits != Bits::ThirtyTwo {
        for piece in pieces {
            let Source::Kept(key) = &piece.source else { continue };
            let facts = session.stems.kept.find(key).unwrap_or_default();
            if facts.clipped > 0 {
                out.push(clipped(&piece.path, facts));
            }
        }
    }
    if session.choice.click.unwrap_or(true) && session.performed.patches.lead_in_bars == 0 {
        out.push("the click has no bar to count in: write `lead-in = 2` in [deliver]".into());
    }
    let playing = |w: &Without| match w {
        Without::Tune => sums::has_tune(session),
        Without::Family(family) => session.stems.families.iter().any(|(f, _)| f == family),
        Without::Chair(chair) => session.stems.stems.iter().any(|s| s.chair == *chair),
    };
    for without in session.choice.alternates.iter().flatten().filter(|w| !playing(w)) {
        out.push(match without {
            Without::Tune => {
                "no mix without the tune: no line of the plan is found to be one; call it `melody`".into()
            }
            other => format!("no mix without {}: it does not play", other.word()),
        });
    }
    out
}

fn used(session: &Session<'_>, pieces: &[Piece]) -> Vec<String> {
    let mut out: Vec<String> = session.stems.stems.iter().map(|s| s.key.clone()).collect();
    out.extend(session.stems.families.iter().map(|(_, key)| key.clone()));
    out.extend(pieces.iter().filter_map(|p| match &p.source {
        Source::Kept(key) => Some(key.clone()),
        _ => None,
    }));
    out
}

fn summary(session: &Session<'_>, mix: &str, measured: &audio::AllMeasured, files: usize) -> String {
    format!("{files} files; {}", measured_words(session, measured.get(mix)))
}

/// Length and form of the sound, loudness of the mix.
fn measured_words(session: &Session<'_>, mix: Option<&audio::Measure>) -> String {
    let form = session.stems.form;
    format!(
        "sound of {:.1} s at {} kHz, {}; {}",
        form.shape.frames as f64 / f64::from(form.shape.sample_rate),
        f64::from(form.shape.sample_rate) / 1000.0,
        session.bits.words(),
        loudness_words(mix.map(|m| [m.integrated, m.range, m.true_peak])),
    )
}

/// Integrated loudness, range and true peak of the mix.
fn loudness_words(measured: Option<[f64; 3]>) -> String {
    let Some([integrated, range, peak]) = measured.filter(|m| m[2].is_finite()) else {
        return "the mix is silent".into();
    };
    // What is shorter than a block of the meter has a peak and no loudness.
    let or_none = |value: f64, unit: &str| {
        if value.is_finite() { format!("{value:.1} {unit}") } else { format!("no {unit}") }
    };
    format!(
        "the mix has {}, range {}, and {}",
        or_none(integrated, "LUFS"),
        or_none(range, "LU"),
        or_none(peak, "dBTP")
    )
}

/// A path in a folder, as a manifest writes it.
fn under(folder: &Path, path: &str) -> PathBuf {
    path.split('/').fold(folder.to_path_buf(), |folder, part| folder.join(part))
}

#[cfg(test)]
mod tests {
    use super::loudness_words;

    #[test]
    fn loudness_is_told_in_numbers_or_words() {
        let full = loudness_words(Some([-23.04, 7.5, -2.0]));
        assert_eq!(full, "the mix has -23.0 LUFS, range 7.5 LU, and -2.0 dBTP");
        let short = loudness_words(Some([f64::NEG_INFINITY, f64::NEG_INFINITY, -2.0]));
        assert_eq!(short, "the mix has no LUFS, range no LU, and -2.0 dBTP");
        assert_eq!(loudness_words(Some([f64::NEG_INFINITY; 3])), "the mix is silent");
    }
}
