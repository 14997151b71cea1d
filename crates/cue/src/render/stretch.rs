//! Which chairs, and from when to when.

use super::RenderOptions;
use crate::{Cue, CueError, Performed};
use ripieno_units::Seconds;

/// A stretch of the performance, in seconds from bar 1.
pub struct Stretch {
    pub from: Seconds,
    pub to: Seconds,
    /// Where it opens, in words.
    pub opening: String,
}

/// Checks that the chairs asked for are there.
pub fn check_chairs(cue: &Cue, only: &[String]) -> Result<(), CueError> {
    for id in only {
        if !cue.template.chairs.iter().any(|c| c.id == *id) {
            let known: Vec<&str> = cue.template.chairs.iter().map(|c| c.id.as_str()).collect();
            let near = ripieno_plan::nearest(id, known.iter().copied());
            let help = near
                .map_or_else(|| format!("known: {}", known.join(", ")), |n| format!("did you mean `{n}`?"));
            let message = format!("the template has no chair `{id}`; {help}");
            return Err(CueError::Place { path: cue.folder.clone(), message });
        }
    }
    Ok(())
}

/// The whole, or a passage with its pre-roll; `tail` seconds of reverberation after it.
pub fn stretch(
    cue: &Cue,
    performed: &Performed,
    options: &RenderOptions,
    tail: Seconds,
) -> Result<Stretch, CueError> {
    let timeline = &performed.performance.timeline;
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
