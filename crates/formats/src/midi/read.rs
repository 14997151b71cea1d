//! MIDI files in.

use super::bytes::{Charset, Division, Event, Raw, parse};
use super::conduct::{Conduct, Ticks, offsets};
use super::{lyrics, notes, percussion};
use crate::FormatError;
use ripieno_music::{
    Control, ControlKind, Direction, DirectionKind, Note, NoteKind, Score, Timeline, Track, Warning,
};
use ripieno_units::Beats;
use std::collections::BTreeMap;

/// Things settled by a rule: how many of each in each track, and where the first.
#[derive(Default)]
struct Tally(BTreeMap<(usize, &'static str), (usize, Beats)>);

impl Tally {
    fn add(&mut self, track: usize, at: Beats, message: &'static str) {
        let entry = self.0.entry((track, message)).or_insert((0, at));
        *entry = (entry.0 + 1, entry.1.min(at));
    }

    fn warnings(self, timeline: &Timeline) -> impl Iterator<Item = Warning> {
        self.0.into_iter().map(|((track, message), (count, at))| {
            let bar = timeline.place(at).bar;
            let from = if count > 1 { "from bar" } else { "bar" };
            let times = if count > 1 { format!(" ({count} times)") } else { String::new() };
            Warning {
                place: format!("track {}, {from} {bar}", track + 1),
                message: format!("{message}{times}"),
            }
        })
    }
}

/// A track of the score with where it came from.
struct Built {
    source: usize,
    channel: u8,
    port: u8,
    track: Track,
}

/// Controls of a channel that has no notes in its own track.
struct Orphan {
    source: usize,
    channel: u8,
    port: u8,
    controls: Vec<Control>,
}

/// Reads a Standard MIDI File, plain or in a RIFF wrapper. Times are exact; what was settled by a rule (see the
/// module) is a warning with its place.
///
/// Errors: [`FormatError::Damaged`] where no track can be read, [`FormatError::TooLarge`] over 100,000 bars, or with
/// too many tracks for so many bars.
pub fn read(bytes: &[u8]) -> Result<Score, FormatError> {
    let mut raw = parse(bytes)?;
    let mut warnings = std::mem::take(&mut raw.warnings);
    let ticks = Ticks::of(raw.division);
    let offsets = offsets(&raw, ticks)?;
    let mut tally = Tally::default();
    let mut conduct = Conduct::gather(&raw, ticks, &offsets);
    for (track, at, message) in conduct.odd.drain(..) {
        tally.add(track, at, message);
    }
    let (mut built, orphans) = tracks(&raw, ticks, &offsets, &mut tally);
    adopt(orphans, &mut built, &mut tally);
    for one in &mut built {
        one.track.content.sort();
        one.track.program = program(&one.track);
    }
    sing(&raw, ticks, &offsets, &mut built, &mut tally);

    let last_note = built.iter().flat_map(|b| b.track.content.notes.iter().map(Note::end)).max();
    let end = match last_note {
        Some(end) => end.max(conduct.last_mark),
        // Nothing but a map of tempo and metre: as long as its tracks.
        None => {
            raw.tracks.iter().zip(&offsets).map(|(t, o)| *o + ticks.at(t.end)).max().unwrap_or(Beats::ZERO)
        }
    };
    let (timeline, short) = conduct.timeline(end)?;
    crate::bound::hold(&timeline, built.len())?;
    warnings.extend(about_sequences(&raw, &offsets, &timeline));
    if let Division::PerFrame(fps, per_frame) = raw.division {
        warnings.push(Warning {
            place: "header".into(),
            message: format!(
                "the file counts seconds ({fps} frames of {per_frame} ticks), not quarters; bars are laid at 120 quarters a \
                 minute"
            ),
        });
    }
    warnings.extend(short.first().map(|at| Warning {
        place: format!("bar {}", timeline.place(*at).bar),
        message: format!("cut short by a change of metre ({} such bars)", short.len()),
    }));
    warnings.extend(tally.warnings(&timeline));
    let title = title(&raw, &built);
    Ok(Score {
        title,
        composer: None,
        timeline,
        tracks: built.into_iter().map(|b| b.track).collect(),
        warnings,
    })
}

/// The name of a format 0 file, or that of a first track without notes.
fn title(raw: &Raw<'_>, built: &[Built]) -> Option<String> {
    if raw.format == 2 || raw.format != 0 && built.iter().any(|b| b.source == 0) {
        return None;
    }
    raw.tracks.first()?.events.iter().find_map(|(_, e)| match e {
        Event::Name(bytes) => Some(raw.charset.text(bytes).trim().to_string()).filter(|t| !t.is_empty()),
        _ => None,
    })
}

fn about_sequences(raw: &Raw<'_>, offsets: &[Beats], timeline: &Timeline) -> Vec<Warning> {
    if raw.format != 2 || raw.tracks.len() < 2 {
        return Vec::new();
    }
    let begins = |(i, at): (usize, &Beats)| Warning {
        place: format!("track {}, bar {}", i + 1, timeline.place(*at).bar),
        message: "format 2: a sequence of its own, placed after the one before".into(),
    };
    offsets.iter().enumerate().skip(1).map(begins).collect()
}

/// One track for each track and channel that has notes.
fn tracks(raw: &Raw<'_>, ticks: Ticks, offsets: &[Beats], tally: &mut Tally) -> (Vec<Built>, Vec<Orphan>) {
    let strokes = percussion::strokes();
    let (mut built, mut orphans) = (Vec::new(), Vec::new());
    for (source, (track, offset)) in raw.tracks.iter().zip(offsets).enumerate() {
        let at = |tick: u64| *offset + ticks.at(tick);
        let (struck, settled) = notes::pair(track);
        for (list, message) in [
            (
                settled.struck_again,
                "a key was struck again while it sounded; the earlier note was ended there",
            ),
            (settled.one_off_for_two, "a key was struck twice together with one note-off; it ended both"),
            (
                settled.hanging,
                "a note has no note-off; it was held to the end of the track or to \"all notes off\"",
            ),
            (settled.without_length, "a note has no length; it was made one tick long"),
            (settled.stray_off, "a note-off has no note; it was passed over"),
        ] {
            list.into_iter().for_each(|tick| tally.add(source, at(tick), message));
        }
        let mut channels: BTreeMap<u8, Track> = BTreeMap::new();
        for note in &struck {
            channels.entry(note.channel).or_default().content.notes.push(Note {
                velocity: Some(note.velocity),
                struck: (note.channel == percussion::CHANNEL).then_some(note.key),
                kind: if note.channel == percussion::CHANNEL {
                    NoteKind::Unpitched { stroke: strokes[usize::from(note.key & 0x7F)].clone() }
                } else {
                    NoteKind::Pitched(ripieno_music::Pitch::of_key(note.key.into()))
                },
                ..Note::plain(at(note.on), at(note.off) - at(note.on), note.key.into())
            });
        }
        let (name, instrument) = names(raw.charset, &track.events);
        let mut words = Vec::new();
        let mut homeless: BTreeMap<u8, Vec<Control>> = BTreeMap::new();
        for (tick, event) in &track.events {
            match *event {
                Event::Control { channel, kind, value } => {
                    let control = Control { at: at(*tick), kind, value };
                    match channels.get_mut(&channel) {
                        Some(track) => track.content.controls.push(control),
                        None => homeless.entry(channel).or_default().push(control),
                    }
                }
                Event::KeyPressure { .. } => {
                    tally.add(source, at(*tick), "pressure of single keys is not kept")
                }
                Event::Text(bytes) => {
                    let text = raw.charset.text(bytes).trim().to_string();
                    if !text.is_empty() {
                        let kind = DirectionKind::Words(text);
                        words.push(Direction { at: at(*tick), staff: None, voice: None, kind });
                    }
                }
                _ => {}
            }
        }
        let single = channels.len() == 1;
        for (i, (channel, mut one)) in channels.into_iter().enumerate() {
            let number = source + 1;
            one.id = if single { number.to_string() } else { format!("{number}-{}", channel + 1) };
            one.name.clone_from(&name);
            one.instrument.clone_from(&instrument);
            one.channel = Some(channel + 1);
            one.percussion = channel == percussion::CHANNEL;
            if i == 0 {
                one.content.directions = std::mem::take(&mut words);
            }
            built.push(Built { source, channel, port: track.port, track: one });
        }
        let port = track.port;
        orphans.extend(homeless.into_iter().map(|(channel, controls)| Orphan {
            source,
            channel,
            port,
            controls,
        }));
    }
    (built, orphans)
}

/// Track name and instrument name; where only the instrument is named, it names the track too.
fn names(charset: Charset, events: &[(u64, Event<'_>)]) -> (String, Option<String>) {
    let clean = |bytes: &[u8]| Some(charset.text(bytes).trim().to_string()).filter(|t| !t.is_empty());
    let name = events.iter().find_map(|(_, e)| if let Event::Name(b) = e { clean(b) } else { None });
    let instrument =
        events.iter().find_map(|(_, e)| if let Event::Instrument(b) = e { clean(b) } else { None });
    (name.or_else(|| instrument.clone()).unwrap_or_default(), instrument)
}

/// Controls that stand in a track of their own go to the one track that plays on their channel and port.
fn adopt(orphans: Vec<Orphan>, built: &mut [Built], tally: &mut Tally) {
    for orphan in orphans {
        let Some(first) = orphan.controls.first().map(|c| c.at) else { continue };
        let mut homes = built.iter_mut().filter(|b| (b.channel, b.port) == (orphan.channel, orphan.port));
        match (homes.next(), homes.next()) {
            (Some(home), None) => {
                home.track.content.controls.extend(orphan.controls);
                let message = "controllers without notes were given to the track that plays on their channel";
                tally.add(orphan.source, first, message);
            }
            _ => {
                let message =
                    "controllers of a channel without notes, or with notes in several tracks, are not kept";
                tally.add(orphan.source, first, message);
            }
        }
    }
}

/// The program that holds at the first note, else the first that is called.
fn program(track: &Track) -> Option<u8> {
    let first = track.content.notes.first()?.at;
    let mut calls = track.content.controls.iter().filter(|c| c.kind == ControlKind::Program);
    let before = calls.clone().take_while(|c| c.at <= first).last();
    before.or_else(|| calls.next()).and_then(|c| u8::try_from(c.value).ok())
}

/// Gives the lyrics of each track to the channel of it that sings them, or else to the track that does.
fn sing(raw: &Raw<'_>, ticks: Ticks, offsets: &[Beats], built: &mut [Built], tally: &mut Tally) {
    for (source, (track, offset)) in raw.tracks.iter().zip(offsets).enumerate() {
        let text: Vec<(Beats, String)> = track
            .events
            .iter()
            .filter_map(|(tick, e)| match e {
                Event::Lyric(bytes) => Some((*offset + ticks.at(*tick), raw.charset.text(bytes))),
                _ => None,
            })
            .collect();
        let Some((first, _)) = text.first() else { continue };
        let at_home = built.iter().any(|b| b.source == source);
        let singer = (0..built.len())
            .filter(|i| !at_home || built[*i].source == source)
            .map(|i| (lyrics::shared(&text, &built[i].track.content.notes), built[i].track.percussion, i))
            .filter(|(shared, _, _)| at_home || *shared > 0)
            .min_by_key(|(shared, percussion, i)| (*percussion, std::cmp::Reverse(*shared), *i));
        let Some((_, _, singer)) = singer else {
            tally.add(source, *first, "lyrics stand where no note begins in any track; they are not kept");
            continue;
        };
        if !at_home {
            tally.add(
                source,
                *first,
                "lyrics without notes were given to the track whose notes they meet most",
            );
        }
        let content = &mut built[singer].track.content;
        for at in lyrics::attach(&text, &mut content.notes, &mut content.directions) {
            tally.add(source, at, "a lyric meets no note; it is kept as words");
        }
        content.directions.sort_by_key(|d| d.at);
    }
}
