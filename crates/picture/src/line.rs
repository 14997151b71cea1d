//! What a line is to the eye: a colour, a sign beside it for those who do not see the colour, and a word.

use crate::svg::Path;
use ripieno_music::Role;

/// The class that gives the colour.
pub fn class(role: Role) -> &'static str {
    match role {
        Role::Tune => "line-tune",
        Role::Counter => "line-counter",
        Role::Bass => "line-bass",
        Role::Held => "line-held",
        Role::Figure => "line-figure",
        Role::Punctuation => "line-punctuation",
        Role::Silence => "line-silence",
    }
}

/// The word that stands in the legend.
pub fn word(role: Role) -> &'static str {
    match role {
        Role::Tune => "tune",
        Role::Counter => "counter-melody",
        Role::Bass => "bass",
        Role::Held => "chords",
        Role::Figure => "figure",
        Role::Punctuation => "punctuation",
        Role::Silence => "silence",
    }
}

/// All that sound, as a legend lists them.
pub const SOUNDING: [Role; 6] =
    [Role::Tune, Role::Counter, Role::Held, Role::Figure, Role::Bass, Role::Punctuation];

/// The line's sign, ten units square: a full diamond for the tune, an open one for a counter-melody, a stack for chords, a
/// zigzag for a figure, a bar at the foot for the bass, a dot for punctuation.
pub fn sign(role: Role) -> String {
    let mut path = Path::new();
    let filled = match role {
        Role::Tune => {
            path.to(5.0, 0.5).line(9.5, 5.0).line(5.0, 9.5).line(0.5, 5.0).close();
            true
        }
        Role::Counter => {
            path.to(5.0, 1.2).line(8.8, 5.0).line(5.0, 8.8).line(1.2, 5.0).close();
            false
        }
        Role::Held => {
            for y in [2.0, 5.0, 8.0] {
                path.to(0.5, y).across(9.5);
            }
            false
        }
        Role::Figure => {
            path.to(0.5, 7.5).line(3.0, 2.5).line(5.5, 7.5).line(8.0, 2.5).line(9.5, 5.5);
            false
        }
        Role::Bass => {
            path.to(0.5, 7.0).line(9.5, 7.0).line(9.5, 9.5).line(0.5, 9.5).close();
            true
        }
        Role::Punctuation => {
            path.to(5.0, 2.5)
                .curve((6.4, 2.5), (7.5, 3.6), (7.5, 5.0))
                .curve((7.5, 6.4), (6.4, 7.5), (5.0, 7.5))
                .curve((3.6, 7.5), (2.5, 6.4), (2.5, 5.0))
                .curve((2.5, 3.6), (3.6, 2.5), (5.0, 2.5))
                .close();
            true
        }
        Role::Silence => return String::new(),
    };
    let kind = if filled { "sign full" } else { "sign open" };
    format!(r#"<svg class="{kind}" viewBox="0 0 10 10" aria-hidden="true"><path d="{}"/></svg>"#, path.data())
}
