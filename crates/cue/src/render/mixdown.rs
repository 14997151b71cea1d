//! The sums: chairs to families, families to the mix, the mix to the copy that is listened to.

use super::kept::{Facts, Kept};
use super::stem::{Form, look};
use super::watch::Watch;
use crate::CueError;
use ripieno_formats::WavSource;
use ripieno_formats::wav::Stream;
use ripieno_mix::{Listening, ListeningOptions, MixError, Survey, Surveyed, Take, listening};
use std::fs::File;
use std::io::{BufReader, BufWriter, Write};
use std::path::{Path, PathBuf};

/// Frames that are summed at a time.
const BLOCK: usize = 1 << 15;

/// Takes sums, left and right.
type Sums<'a> = dyn FnMut(&[f32], &[f32]) -> std::io::Result<()> + 'a;

type Source = WavSource<BufReader<File>>;

fn open(path: &Path) -> Result<Source, CueError> {
    let disk = |error| CueError::Disk { path: path.to_path_buf(), error };
    let file = File::open(path).map_err(disk)?;
    WavSource::begin(BufReader::with_capacity(1 << 18, file)).map_err(disk)
}

/// Adds files up in their order, and hands on block after block. Missing ends are silence.
fn add_up(
    files: &[PathBuf],
    frames: u64,
    watch: &dyn Watch,
    take: &mut Sums<'_>,
    to: &Path,
) -> Result<(), CueError> {
    let mut sources = files.iter().map(|f| open(f)).collect::<Result<Vec<_>, _>>()?;
    let mut block = Vec::new();
    let mut sums = [vec![0.0_f32; BLOCK], vec![0.0_f32; BLOCK]];
    let mut left = frames;
    while left > 0 {
        if watch.stopped() {
            return Err(CueError::Stopped);
        }
        let wanted = left.min(BLOCK as u64) as usize;
        sums.iter_mut().for_each(|s| s[..wanted].fill(0.0));
        for (source, path) in sources.iter_mut().zip(files) {
            source.block(wanted, &mut block).map_err(|error| CueError::Disk { path: path.clone(), error })?;
            for (sum, channel) in sums.iter_mut().zip(&block) {
                for (a, b) in sum.iter_mut().zip(channel) {
                    *a += b;
                }
            }
        }
        take(&sums[0][..wanted], &sums[1][..wanted])
            .map_err(|error| CueError::Disk { path: to.to_path_buf(), error })?;
        left -= wanted as u64;
    }
    Ok(())
}

/// Adds kept files up to another kept file.
pub fn family(
    kept: &Kept,
    members: &[String],
    key: &str,
    form: Form,
    watch: &dyn Watch,
) -> Result<(), CueError> {
    let files: Vec<PathBuf> = members.iter().map(|k| kept.path(k)).collect();
    let path = kept.path(key);
    let file = kept.fresh()?;
    let disk = |error| CueError::Disk { path: path.clone(), error };
    let mut out = BufWriter::with_capacity(1 << 18, file.as_file());
    let mut stream = Stream::begin(&mut out, form.shape, form.format).map_err(disk)?;
    let mut facts = Facts::default();
    add_up(
        &files,
        form.shape.frames,
        watch,
        &mut |left, right| {
            look(&mut facts, left);
            look(&mut facts, right);
            stream.block(&[left, right])
        },
        &path,
    )?;
    stream.end().map_err(disk)?;
    drop(out);
    kept.keep(key, file, facts)
}

/// Adds files up to the mix, and measures it.
pub fn mix(
    files: &[PathBuf],
    to: &Path,
    form: Form,
    watch: &dyn Watch,
) -> Result<(Surveyed, Facts), CueError> {
    let disk = |error| CueError::Disk { path: to.to_path_buf(), error };
    let mut out = BufWriter::with_capacity(1 << 18, File::create(to).map_err(disk)?);
    let mut stream = Stream::begin(&mut out, form.shape, form.format).map_err(disk)?;
    let mut survey = Survey::new(form.shape.sample_rate).map_err(|e| unmeasured(to, &e))?;
    let mut facts = Facts::default();
    // Measuring takes as long as adding: it runs beside it.
    let (send, blocks) = std::sync::mpsc::sync_channel::<[Vec<f32>; 2]>(8);
    let survey = std::thread::scope(|scope| {
        let measuring = scope.spawn(move || {
            for [left, right] in blocks {
                survey.add(&left, &right);
            }
            survey
        });
        let added = add_up(
            files,
            form.shape.frames,
            watch,
            &mut |left, right| {
                look(&mut facts, left);
                look(&mut facts, right);
                // It takes all until the sender is dropped.
                let _ = send.send([left.to_vec(), right.to_vec()]);
                stream.block(&[left, right])
            },
            to,
        );
        drop(send);
        let survey = measuring.join().map_err(|_| CueError::Place {
            path: to.to_path_buf(),
            message: "its loudness could not be measured; render again".into(),
        });
        added.and(survey)
    })?;
    stream.end().map_err(disk)?;
    out.flush().map_err(disk)?;
    let surveyed = survey.finish().map_err(|e| unmeasured(to, &e))?;
    Ok((surveyed, facts))
}

/// Writes the copy to listen to from the mix.
pub fn listen(
    mix: &Path,
    surveyed: &Surveyed,
    options: &ListeningOptions,
    to: &Path,
    form: Form,
    watch: &dyn Watch,
) -> Result<Listening, CueError> {
    let rate = form.shape.sample_rate;
    let mut replay = |take: &mut Take<'_>| play(mix, watch, take);
    let done = listening::<Trouble>(surveyed, options, rate, &mut replay).map_err(|e| e.told(mix))?;
    let disk = |error| CueError::Disk { path: to.to_path_buf(), error };
    let mut out = BufWriter::with_capacity(1 << 18, File::create(to).map_err(disk)?);
    let mut stream = Stream::begin(&mut out, form.shape, form.format).map_err(disk)?;
    let mut written = Ok(());
    play(mix, watch, &mut |from, left, right| {
        done.apply(from, left, right);
        if written.is_ok() {
            written = stream.block(&[left, right]);
        }
    })
    .map_err(|e| e.told(mix))?;
    written.and_then(|()| stream.end()).map_err(disk)?;
    out.flush().map_err(disk)?;
    Ok(done)
}

/// Why a mix could not be played.
enum Trouble {
    Cue(CueError),
    Mix(MixError),
}

impl From<MixError> for Trouble {
    fn from(error: MixError) -> Self {
        Self::Mix(error)
    }
}

impl Trouble {
    fn told(self, mix: &Path) -> CueError {
        match self {
            Self::Cue(error) => error,
            Self::Mix(error) => unmeasured(mix, &error),
        }
    }
}

fn unmeasured(path: &Path, error: &MixError) -> CueError {
    CueError::Place { path: path.to_path_buf(), message: error.to_string() }
}

fn play(path: &Path, watch: &dyn Watch, take: &mut Take<'_>) -> Result<(), Trouble> {
    let mut source = open(path).map_err(Trouble::Cue)?;
    let mut block = Vec::new();
    let mut at = 0;
    loop {
        if watch.stopped() {
            return Err(Trouble::Cue(CueError::Stopped));
        }
        let frames = source
            .block(BLOCK, &mut block)
            .map_err(|error| Trouble::Cue(CueError::Disk { path: path.to_path_buf(), error }))?;
        let [left, right] = &mut block[..] else { return Ok(()) };
        if frames == 0 {
            return Ok(());
        }
        take(at, left, right);
        at += frames as u64;
    }
}

/// Writes a file once more with samples of another kind.
pub fn convert(from: &Path, to: &Path, format: ripieno_formats::wav::SampleFormat) -> Result<(), CueError> {
    let disk = |error| CueError::Disk { path: to.to_path_buf(), error };
    let mut source = open(from)?;
    let file = tempfile::NamedTempFile::new_in(crate::folder::parent(to)).map_err(disk)?;
    let mut out = BufWriter::with_capacity(1 << 18, file.as_file());
    let mut stream = Stream::begin(&mut out, source.shape(), format).map_err(disk)?;
    let mut block = Vec::new();
    while source.block(BLOCK, &mut block).map_err(disk)? > 0 {
        let views: Vec<&[f32]> = block.iter().map(Vec::as_slice).collect();
        stream.block(&views).map_err(disk)?;
    }
    stream.end().map_err(disk)?;
    drop(out);
    crate::folder::readable(file.as_file());
    file.persist(to).map_err(|e| disk(e.error))?;
    Ok(())
}
