//! Sound files: read from what is kept, measured, written with their `bext` chunk and their digest.

use super::Session;
use super::place::{Place, Ready};
use super::sums::Part;
use crate::fingerprint::Fingerprint;
use crate::render::{Watch, format_of};
use crate::{CueError, folder};
use rayon::prelude::*;
use ripieno_delivery::bext::{Broadcast, Measured};
use ripieno_delivery::digest::Hashing;
use ripieno_delivery::{click, manifest};
use ripieno_formats::WavSource;
use ripieno_formats::wav::{Shape, Stream};
use ripieno_mix::{Survey, Surveyed};
use ripieno_units::Decibels;
use std::collections::BTreeMap;
use std::fs::File;
use std::io::{BufReader, BufWriter, Write as _};
use std::path::Path;
use std::sync::{Mutex, PoisonError};

/// A sound file that is to be.
#[derive(Clone)]
pub struct Piece {
    pub path: String,
    pub kind: &'static str,
    pub what: String,
    pub broadcast: Broadcast,
    pub source: Source,
}

/// Where its sound comes from.
#[derive(Clone)]
pub enum Source {
    /// What is kept under a key.
    Kept(String),
    /// The click.
    Click,
    /// A stretch of several that are kept, added up.
    Part(Part),
}

/// What a sound measures.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measure {
    pub integrated: f64,
    pub range: f64,
    pub true_peak: f64,
    pub momentary: f64,
    pub short_term: f64,
    /// The highest sample, as amplitude.
    pub peak: f64,
}

/// By the key of the sound.
pub type AllMeasured = BTreeMap<String, Measure>;

/// What was measured before, kept beside the stems.
pub struct Measures {
    before: AllMeasured,
    used: Mutex<AllMeasured>,
}

const MEASURED: &str = "measured.txt";

impl Measures {
    pub fn load(cue: &Path) -> Self {
        let text = std::fs::read_to_string(cue.join(crate::render::kept::FOLDER).join(MEASURED));
        let read = |line: &str| {
            let (key, values) = line.split_once('\t')?;
            let values: Vec<f64> = values.split(' ').map(str::parse).collect::<Result<_, _>>().ok()?;
            let [integrated, range, true_peak, momentary, short_term, peak] = values[..] else { return None };
            Some((key.to_string(), Measure { integrated, range, true_peak, momentary, short_term, peak }))
        };
        let before = text.unwrap_or_default().lines().filter_map(read).collect();
        Self { before, used: Mutex::default() }
    }

    pub fn save(&self, cue: &Path) -> Result<(), CueError> {
        let used = self.used.lock().unwrap_or_else(PoisonError::into_inner);
        let line = |(key, m): (&String, &Measure)| {
            format!(
                "{key}\t{} {} {} {} {} {}\n",
                m.integrated, m.range, m.true_peak, m.momentary, m.short_term, m.peak
            )
        };
        let text: String = used.iter().map(line).collect();
        crate::write_file(&cue.join(crate::render::kept::FOLDER).join(MEASURED), text.as_bytes())
    }

    fn of(&self, key: &str, make: impl FnOnce() -> Result<Measure, CueError>) -> Result<Measure, CueError> {
        let measure = match self.before.get(key) {
            Some(known) => *known,
            None => make()?,
        };
        self.used.lock().unwrap_or_else(PoisonError::into_inner).insert(key.to_string(), measure);
        Ok(measure)
    }
}

/// Frames that are handed on at a time.
const BLOCK: usize = 1 << 15;

/// Sound from its start to its end.
enum Reader {
    Kept(Box<WavSource<BufReader<File>>>),
    Click { onsets: Vec<(u64, bool)>, sounds: [Vec<f32>; 2], at: u64, frames: u64 },
    Memory { channels: Vec<Vec<f32>>, at: usize },
}

impl Reader {
    /// Fills `block` anew; gives how many frames there were, 0 at the end.
    fn block(&mut self, block: &mut Vec<Vec<f32>>) -> std::io::Result<usize> {
        match self {
            Self::Kept(source) => source.block(BLOCK, block),
            Self::Click { onsets, sounds, at, frames } => {
                let count = (*frames - *at).min(BLOCK as u64) as usize;
                block.resize_with(1, Vec::new);
                block[0].clear();
                block[0].resize(count, 0.0);
                let first = onsets.partition_point(|(onset, _)| onset + sounds[0].len() as u64 <= *at);
                for (onset, downbeat) in onsets[first..].iter().take_while(|(o, _)| *o < *at + count as u64) {
                    for (i, x) in sounds[usize::from(!downbeat)].iter().enumerate() {
                        let place = (onset + i as u64).checked_sub(*at).map(|p| p as usize);
                        if let Some(sum) = place.and_then(|p| block[0].get_mut(p)) {
                            *sum += x;
                        }
                    }
                }
                *at += count as u64;
                Ok(count)
            }
            Self::Memory { channels, at } => {
                let count = channels.first().map_or(0, |c| c.len().saturating_sub(*at)).min(BLOCK);
                block.resize_with(channels.len(), Vec::new);
                for (to, from) in block.iter_mut().zip(channels) {
                    to.clear();
                    to.extend_from_slice(&from[*at..*at + count]);
                }
                *at += count;
                Ok(count)
            }
        }
    }
}

/// Opens a kept file.
pub fn open(path: &Path) -> Result<WavSource<BufReader<File>>, CueError> {
    let disk = |error| CueError::Disk { path: path.to_path_buf(), error };
    WavSource::begin(BufReader::with_capacity(1 << 18, File::open(path).map_err(disk)?)).map_err(disk)
}

/// Writes the sound files of a deliver.
pub struct Desk<'a> {
    pub session: &'a Session<'a>,
    pub place: &'a Place,
    pub measures: &'a Measures,
    pub watch: &'a dyn Watch,
}

impl Desk<'_> {
    /// What names the sound of a piece.
    fn key(&self, source: &Source) -> String {
        match source {
            Source::Kept(key) => key.clone(),
            Source::Part(part) => part.key(),
            Source::Click => {
                let timeline = &self.session.performed.performance.timeline;
                let form = self.session.stems.form.shape;
                let clicks = click::clicks(timeline, self.session.performed.patches.lead_in_bars);
                Fingerprint::default().of(&("click", clicks, form)).to_string()
            }
        }
    }

    fn frames(&self, source: &Source) -> u64 {
        match source {
            Source::Part(part) => part.to.saturating_sub(part.from),
            _ => self.session.stems.form.shape.frames,
        }
    }

    fn reader(&self, source: &Source) -> Result<Reader, CueError> {
        let stems = &self.session.stems;
        match source {
            Source::Kept(key) => Ok(Reader::Kept(Box::new(open(&stems.kept.path(key))?))),
            Source::Part(part) => Ok(Reader::Memory { channels: part.sound(stems)?, at: 0 }),
            Source::Click => {
                let (rate, frames) = (stems.form.shape.sample_rate, stems.form.shape.frames);
                let performed = self.session.performed;
                let clicks = click::clicks(&performed.performance.timeline, performed.patches.lead_in_bars);
                let from = stems.stretch.from.0;
                let onset = |c: &click::Click| ((c.at.0 - from) * f64::from(rate)).round().max(0.0) as u64;
                Ok(Reader::Click {
                    onsets: clicks.iter().map(|c| (onset(c), c.downbeat)).collect(),
                    sounds: [click::sound(true, rate), click::sound(false, rate)],
                    at: 0,
                    frames,
                })
            }
        }
    }

    /// Measures all pieces that were not measured before, side by side.
    pub fn measure(&self, pieces: &[Piece]) -> Result<AllMeasured, CueError> {
        let mut keys: BTreeMap<String, &Piece> = BTreeMap::new();
        for piece in pieces {
            keys.insert(self.key(&piece.source), piece);
        }
        let seconds = |p: &Piece| self.frames(&p.source) as f64 / f64::from(self.session.rate());
        self.watch.begin(keys.len(), keys.values().map(|p| seconds(p)).sum(), 0);
        let keys: Vec<(String, &Piece)> = keys.into_iter().collect();
        keys.into_par_iter()
            .with_max_len(1)
            .map(|(key, piece)| {
                let measure = self.measures.of(&key, || self.survey(piece, self.reader(&piece.source)?))?;
                self.watch.advance(seconds(piece));
                Ok((key, measure))
            })
            .collect()
    }

    /// The loudness of the mix over time, one value a second.
    pub fn curve(&self, pieces: &[Piece]) -> Result<Vec<f32>, CueError> {
        match pieces.iter().find(|p| p.kind == "mix") {
            Some(mix) => Ok(self.surveyed(mix, self.reader(&mix.source)?)?.curve),
            None => Ok(Vec::new()),
        }
    }

    fn surveyed(&self, piece: &Piece, mut reader: Reader) -> Result<Surveyed, CueError> {
        let wrong = |message: String| CueError::Place { path: piece.path.clone().into(), message };
        let mut survey = Survey::without_places(self.session.rate()).map_err(|e| wrong(e.to_string()))?;
        let mut block = Vec::new();
        loop {
            if self.watch.stopped() {
                return Err(CueError::Stopped);
            }
            let frames = reader.block(&mut block).map_err(|e| wrong(e.to_string()))?;
            match &block[..] {
                _ if frames == 0 => break,
                // A second channel of silence adds nothing to the loudness of one.
                [one] => survey.add(one, &vec![0.0; one.len()]),
                [left, right, ..] => survey.add(left, right),
                [] => break,
            }
        }
        survey.finish().map_err(|e| wrong(e.to_string()))
    }

    fn survey(&self, piece: &Piece, reader: Reader) -> Result<Measure, CueError> {
        let found = self.surveyed(piece, reader)?;
        let l = found.loudness;
        Ok(Measure {
            integrated: l.integrated,
            range: l.range,
            true_peak: l.true_peak,
            momentary: l.momentary,
            short_term: l.short_term,
            peak: f64::from(found.sample_peak),
        })
    }

    /// Writes all pieces, side by side.
    pub fn write(&self, pieces: &[Piece], measured: &AllMeasured) -> Result<Vec<Ready>, CueError> {
        let seconds = |p: &Piece| self.frames(&p.source) as f64 / f64::from(self.session.rate());
        self.watch.begin(pieces.len(), pieces.iter().map(seconds).sum(), 0);
        let made: Vec<Vec<Ready>> = pieces
            .par_iter()
            .with_max_len(1)
            .map(|piece| {
                let measure = measured.get(&self.key(&piece.source)).copied();
                let out = self.one(piece, measure, self.session.choice.flac == Some(true))?;
                self.watch.advance(seconds(piece));
                Ok(out)
            })
            .collect::<Result<_, CueError>>()?;
        Ok(made.into_iter().flatten().collect())
    }

    /// Adds up, measures and writes parts of the whole, side by side. They are short: they are held in memory.
    pub fn write_talks(&self, pieces: &[Piece]) -> Result<Vec<Ready>, CueError> {
        let measured = self.measure(pieces)?;
        let made: Vec<Vec<Ready>> = pieces
            .par_iter()
            .with_max_len(1)
            .map(|piece| self.one(piece, measured.get(&self.key(&piece.source)).copied(), false))
            .collect::<Result<_, CueError>>()?;
        Ok(made.into_iter().flatten().collect())
    }

    /// One piece, and its FLAC.
    fn one(&self, piece: &Piece, measure: Option<Measure>, flac: bool) -> Result<Vec<Ready>, CueError> {
        let format = format_of(self.session.bits);
        let channels = if matches!(piece.source, Source::Click) { 1 } else { 2 };
        let shape = Shape { sample_rate: self.session.rate(), channels, frames: self.frames(&piece.source) };
        let mut broadcast = piece.broadcast.clone();
        broadcast.measured = measure.map(|m| Measured {
            integrated: m.integrated,
            range: m.range,
            true_peak: m.true_peak,
            momentary: m.momentary,
            short_term: m.short_term,
        });
        let chunk = broadcast.bytes();
        let key = self.key(&piece.source);
        let print = Fingerprint::default().of(&(&key, format, shape, &chunk)).to_string();
        let sound = |time_reference, bits| {
            let finite = |value: f64| Some(value).filter(|v| v.is_finite());
            manifest::Sound {
                rate: shape.sample_rate,
                bits,
                channels: if channels == 1 { "mono" } else { "stereo" },
                frames: shape.frames,
                seconds: shape.frames as f64 / f64::from(shape.sample_rate),
                peak_dbfs: measure.and_then(|m| finite(Decibels::from_amplitude(m.peak).0)),
                true_peak_dbtp: measure.and_then(|m| finite(m.true_peak)),
                loudness_lufs: measure.and_then(|m| finite(m.integrated)),
                range_lu: measure.and_then(|m| finite(m.range)),
                momentary_lufs: measure.and_then(|m| finite(m.momentary)),
                short_term_lufs: measure.and_then(|m| finite(m.short_term)),
                time_reference,
            }
        };
        let ready = |path: &str, (bytes, sha256): (u64, String), print: &str, reused, sound| Ready {
            entry: manifest::Entry {
                file: path.to_string(),
                kind: piece.kind.into(),
                what: piece.what.clone(),
                bytes,
                sha256,
                sound: Some(sound),
            },
            print: print.to_string(),
            reused,
        };
        let mut out = Vec::new();
        let wav = sound(Some(broadcast.time_reference), 8 * format.bytes());
        match self.place.reuse(&piece.path, &print) {
            Some(known) => out.push(ready(&piece.path, known, &print, true, wav)),
            None => {
                let made = self.wav(piece, shape, &chunk)?;
                out.push(ready(&piece.path, made, &print, false, wav));
            }
        }
        if flac {
            let path = format!("{}.flac", piece.path.trim_end_matches(".wav"));
            let print = Fingerprint::default().of(&("flac", &print)).to_string();
            let sound = sound(None, if format.bytes() == 2 { 16 } else { 24 });
            match self.place.reuse(&path, &print) {
                Some(known) => out.push(ready(&path, known, &print, true, sound)),
                None => out.push(ready(&path, self.flac(&piece.path, &path)?, &print, false, sound)),
            }
        }
        Ok(out)
    }

    fn wav(&self, piece: &Piece, shape: Shape, chunk: &[u8]) -> Result<(u64, String), CueError> {
        let to = self.place.aside(&piece.path)?;
        let disk = |error| CueError::Disk { path: to.clone(), error };
        let mut reader = self.reader(&piece.source)?;
        let file = File::create(&to).map_err(disk)?;
        let mut out = Hashing::new(BufWriter::with_capacity(1 << 18, file));
        let mut stream =
            Stream::begin_with(&mut out, shape, format_of(self.session.bits), &[(*b"bext", chunk)])
                .map_err(disk)?;
        let mut block = Vec::new();
        loop {
            if self.watch.stopped() {
                return Err(CueError::Stopped);
            }
            if reader.block(&mut block).map_err(disk)? == 0 {
                break;
            }
            let views: Vec<&[f32]> = block.iter().map(Vec::as_slice).collect();
            stream.block(&views).map_err(disk)?;
        }
        stream.end().map_err(disk)?;
        let (mut out, bytes, digest) = out.end();
        out.flush().map_err(disk)?;
        folder::readable(out.get_ref());
        Ok((bytes, digest))
    }

    fn flac(&self, wav: &str, path: &str) -> Result<(u64, String), CueError> {
        if self.watch.stopped() {
            return Err(CueError::Stopped);
        }
        let (from, to) = (self.place.aside(wav)?, self.place.aside(path)?);
        let disk = |error| CueError::Disk { path: to.clone(), error };
        let file = BufReader::with_capacity(1 << 18, File::open(from).map_err(disk)?);
        let bytes = ripieno_formats::flac::of_wav(file).map_err(disk)?;
        std::fs::write(&to, &bytes).map_err(disk)?;
        Ok((bytes.len() as u64, ripieno_delivery::digest::of(&bytes)))
    }
}
