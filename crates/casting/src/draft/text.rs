//! The texts of a draft, laid out as one would by hand.

use super::DraftOptions;
use super::chairs::Seat;
use super::cols::{DraftCell, turn};
use super::passages::Stretch;
use ripieno_music::{Reading, Role, Score};
use ripieno_plan::{Source, Turn, quoted};
use std::fmt::Write;

/// What the plan is written from.
pub(super) struct Drafted {
    pub(super) seats: Vec<Seat>,
    /// Tracks that are no chairs.
    pub(super) lines: Vec<Seat>,
    pub(super) stretches: Vec<Stretch>,
    pub(super) cells: Vec<Vec<DraftCell>>,
}

pub(super) fn cue(score: &Score, reading: &Reading, options: &DraftOptions, drafted: &Drafted) -> String {
    let Drafted { seats, lines, stretches, cells } = drafted;
    let title = options
        .title
        .as_deref()
        .or(score.title.as_deref())
        .map(str::trim)
        .filter(|t| !t.is_empty())
        .unwrap_or_else(|| stem(&options.music));
    let mut text = String::new();
    text.push_str(
        "# The casting plan: who plays which line, passage by passage.\n\
         # Every chair plays what the music has for it: `as written`, or `col` where it has the same as another chair and follows\n\
         # when that one changes. A cell takes a source, an octave and marks, such as\n\
         #   \"melody, legato, p < mf\"    \"col violins-1 8vb, pizz.\"    \"as written 8va\"    \"tacet\"\n\
         # A chair that is not named in a passage is silent there. Bars are counted as they are played, repeats unfolded.\n\n",
    );
    let rows = [
        ("title", quoted(title)),
        ("music", quoted(&options.music)),
        ("template", quoted(&options.template)),
        ("seed", "1".into()),
    ];
    text.push_str("[cue]\n");
    for (key, value) in rows {
        let _ = writeln!(text, "{key:<8} = {value}");
    }
    let width = seats.iter().chain(lines).map(|s| s.id.len()).max().unwrap_or(0);
    text.push_str(
        "\n# One line for each chair, by its name: `as written` means this line. Name more lines here as you need them;\n\
         # `voice`, `staff` or `voices` take a part of a track or share out its chords.\n[lines]\n",
    );
    for seat in seats {
        let _ = writeln!(text, "{:<width$} = {{ track = {} }}", seat.id, quoted(&seat.line_track));
    }
    if !lines.is_empty() {
        text.push_str(
            "# No chair plays these yet: write the name of one into the cells of those who are to have it.\n",
        );
    }
    for line in lines {
        let _ = writeln!(text, "{:<width$} = {{ track = {} }}", line.id, quoted(&line.line_track));
    }
    for (stretch, cells) in stretches.iter().zip(cells) {
        text.push('\n');
        if !stretch.because.is_empty() {
            let _ = writeln!(text, "# {}", one_line(&stretch.because.join("; ")));
        }
        let _ = write!(
            text,
            "[[passage]]\nname = {}\nbars = [{}, {}]\n",
            quoted(&stretch.name),
            stretch.from_bar,
            stretch.to_bar
        );
        let open: Vec<String> = lines.iter().filter_map(|l| to_cast(score, reading, stretch, l)).collect();
        if !open.is_empty() {
            let _ = writeln!(text, "# to be cast: {}", open.join(", "));
        }
        text.push_str("[passage.casting]\n");
        let rows: Vec<(&str, String, String)> = cells
            .iter()
            .map(|c| {
                (seats[c.seat].id.as_str(), quoted(&c.words.to_string()), comment(reading, seats, stretch, c))
            })
            .collect();
        // Comments stand in a column, but not behind the longest cell of all.
        let column = rows.iter().map(|r| r.1.len()).filter(|n| *n <= COMMENT_COLUMN).max().unwrap_or(0);
        for (chair, cell, comment) in rows {
            if comment.is_empty() {
                let _ = writeln!(text, "{chair:<width$} = {cell}");
            } else {
                let _ = writeln!(text, "{chair:<width$} = {cell:<column$}  # {}", one_line(&comment));
            }
        }
    }
    text
}

/// A line that sounds here, with what it is.
fn to_cast(score: &Score, reading: &Reading, stretch: &Stretch, line: &Seat) -> Option<String> {
    let notes = &score.tracks[line.track].content.notes;
    notes.iter().find(|n| n.at < stretch.ends && n.end() > stretch.begins)?;
    Some(match role(reading, stretch, line.track) {
        Role::Silence => line.id.clone(),
        role => format!("{} ({})", line.id, role.word()),
    })
}

fn role(reading: &Reading, stretch: &Stretch, track: usize) -> Role {
    let here = reading.passages.iter().find(|p| p.from_bar == stretch.from_bar);
    here.and_then(|p| p.roles.get(track)).map_or(Role::Silence, |r| r.role)
}

/// Comments are lined up behind cells of up to so many letters.
const COMMENT_COLUMN: usize = 32;

/// What was found of the chair here: its role, and whom it doubles to which share; where that is not in the cell, by name.
fn comment(reading: &Reading, seats: &[Seat], stretch: &Stretch, cell: &DraftCell) -> String {
    let track = seats[cell.seat].track;
    let role = role(reading, stretch, track);
    let mut said: Vec<String> = Vec::new();
    if role != Role::Silence {
        said.push(role.word().to_string());
    }
    let turns = cell.words.divisions.iter().flatten();
    let whole = turns.clone().count() == 1 && cell.has_col();
    for doubling in &reading.doublings {
        let here = doubling.from_bar <= stretch.to_bar && doubling.to_bar >= stretch.from_bar;
        if doubling.track != track || !here || doubling.coincides {
            continue;
        }
        let Some(leader) = seats.iter().find(|s| s.track == doubling.of) else { continue };
        let percent = percent(doubling.share);
        let named = turns.clone().any(|t| t.source == Source::Col { chair: leader.id.clone() });
        if whole && named {
            let simplified = doubling.simplified.as_ref().map(|s| format!(" {s}")).unwrap_or_default();
            said.push(format!("{percent}{simplified}"));
            continue;
        }
        let source = Turn { octave: doubling.semitones, ..turn(Source::Col { chair: leader.id.clone() }) };
        let with = source.to_string().replacen("col ", "", 1);
        let mut text = format!("{percent} of {with}");
        let (first, last) = (doubling.from_bar.max(stretch.from_bar), doubling.to_bar.min(stretch.to_bar));
        if (first, last) != (stretch.from_bar, stretch.to_bar) {
            let _ = if first == last {
                write!(text, " in bar {first}")
            } else {
                write!(text, " in bars {first} to {last}")
            };
        }
        if let Some(simplified) = &doubling.simplified {
            let _ = write!(text, " {simplified}");
        }
        said.push(text);
    }
    said.dedup();
    said.join(", ")
}

/// A share in whole hundredths, rounded down: 100 % is all.
fn percent(share: f64) -> String {
    format!("{} %", (share.clamp(0.0, 1.0) * 100.0 + 1e-9) as u32)
}

pub(super) fn template(seats: &[Seat]) -> String {
    let mut text = String::from(
        "# The template: a chair for each part of the music, to be shared by cues.\n\
         # A chair may have `card = \"cards/name.toml\"`, the card of your own patch; without one the house orchestra plays.\n",
    );
    for seat in seats {
        text.push('\n');
        for doubt in &seat.doubts {
            let _ = writeln!(text, "# unsure: {}", one_line(doubt));
        }
        for comment in &seat.comments {
            let _ = writeln!(text, "# {}", one_line(comment));
        }
        let _ = writeln!(text, "[chair.{}]", seat.id);
        if !seat.name.is_empty() {
            let _ = writeln!(text, "name       = {}", quoted(&seat.name));
        }
        let _ = writeln!(text, "instrument = {}", quoted(&seat.instrument));
        let _ = writeln!(text, "players    = {}", seat.players);
    }
    text
}

/// A comment cannot hold line ends or control characters.
fn one_line(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect()
}

fn stem(path: &str) -> &str {
    let file = path.rsplit(['/', '\\']).next().unwrap_or(path);
    file.rsplit_once('.').map_or(file, |(stem, _)| stem)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_title_is_the_file_without_its_ending() {
        assert_eq!(stem("music/night-ferry.mid"), "night-ferry");
    }
}
