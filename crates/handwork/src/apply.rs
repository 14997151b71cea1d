//! Marks put onto tracks that were computed anew.

use crate::{Axis, Control, Mark, Sounded, What, Who, WrittenNote, WrittenTrack, ticks_of};

/// What became of a mark.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Fit {
    /// It was made.
    Made,
    /// It no longer fits: why.
    NoLonger(String),
}

/// Puts marks onto tracks, in order. Gives what became of each, and the notes that are to be played with an articulation: track,
/// note, its name. `lead` is the number of ticks before bar 1: nothing is put before them.
pub fn apply(
    tracks: &mut [WrittenTrack],
    axis: &Axis,
    lead: i64,
    marks: &[Mark],
) -> (Vec<Fit>, Vec<(usize, usize, String)>) {
    let mut called = Vec::new();
    let fits = marks.iter().map(|mark| one(tracks, axis, lead, mark, &mut called)).collect();
    (fits, called)
}

fn one(
    tracks: &mut [WrittenTrack],
    axis: &Axis,
    lead: i64,
    mark: &Mark,
    called: &mut Vec<(usize, usize, String)>,
) -> Fit {
    let no = |why: &str| Fit::NoLonger(why.to_string());
    let Some(t) = tracks.iter().position(|t| t.chair == mark.chair && t.card == mark.card) else {
        return no("the chair does not play");
    };
    let places = axis.find(&mark.anchor);
    let Some(place) = places.first().copied() else { return no("neither its passage nor its bar is there") };
    let track = &mut tracks[t];
    if let Some((key, ordinal)) = mark.what.note() {
        let named = |n: &WrittenNote| match n.who {
            Who::Computed(name) => name.key == key && name.ordinal == ordinal && places.contains(&name.at),
            _ => false,
        };
        let Some(n) = track.notes.iter().position(named) else { return no("its note is gone") };
        let note = &mut track.notes[n];
        match &mark.what {
            What::Note { start, end, to_key, velocity, channel, .. } => {
                let now = &mut note.now;
                now.on = (now.on + ticks_of(*start)).max(-lead);
                now.off = (now.off + ticks_of(*end)).max(now.on + 1);
                now.key = to_key.unwrap_or(now.key);
                now.velocity = velocity.unwrap_or(now.velocity);
                now.channel = channel.unwrap_or(now.channel);
            }
            What::Silent { .. } => note.sent = false,
            What::Played { articulation, .. } => called.push((t, n, articulation.clone())),
            What::Added { .. } | What::Curve { .. } => {}
        }
        return Fit::Made;
    }
    let from = ticks_of(place).max(-lead);
    match &mark.what {
        What::Added { key, length, velocity, channel, articulation } => {
            let off = (from + ticks_of(*length)).max(from + 1);
            let now = Sounded { on: from, key: *key, channel: *channel, velocity: *velocity, off };
            let used = articulation.clone().unwrap_or_default();
            called.extend(articulation.iter().map(|a| (t, track.notes.len(), a.clone())));
            track.notes.push(WrittenNote { now, computed: now, who: Who::Added(mark.id), sent: true, used });
        }
        What::Curve { control, channel, length, points } => {
            let to = length.map(|l| from + ticks_of(l));
            let mine = |e: &(i64, ripieno_formats::midi::MidiEvent)| {
                Control::of(&e.1).is_some_and(|(c, k, _)| (c, k) == (*channel, *control))
            };
            let value = |e: &(i64, ripieno_formats::midi::MidiEvent)| Control::of(&e.1).map(|v| v.2);
            // What the computed curve has reached where the stretch ends, unless it says so itself just there.
            let at_end = to.and_then(|to| {
                let says = track.rest.iter().any(|e| e.0 == to && mine(e));
                let last = track.rest.iter().rfind(|e| e.0 < to && mine(e)).and_then(value);
                last.filter(|_| !says && control.holds()).map(|v| (to, v))
            });
            track.rest.retain(|e| !(mine(e) && e.0 >= from && to.is_none_or(|to| e.0 < to)));
            let drawn = points.iter().map(|p| (from + ticks_of(p.0), p.1.clone())).chain(at_end);
            track.rest.extend(drawn.map(|(at, v)| (at, control.event(*channel, &v))));
            track.rest.sort_by_key(|e| e.0);
        }
        _ => {}
    }
    Fit::Made
}
