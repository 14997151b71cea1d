//! The texts of a draft, laid out as one would by hand.

use super::DraftOptions;
use super::chairs::Seat;
use super::passages::Stretch;
use ripieno_music::Score;
use std::fmt::Write;

pub(super) fn cue(score: &Score, options: &DraftOptions, seats: &[Seat], stretches: &[Stretch]) -> String {
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
         # Every chair plays as written so far. A cell takes a source, an octave and marks, such as\n\
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
    let width = seats.iter().map(|s| s.id.len()).max().unwrap_or(0);
    text.push_str(
        "\n# One line for each chair, by its name: `as written` means this line. Name more lines here as you need them;\n\
         # `voice`, `staff` or `voices` take a part of a track or share out its chords.\n[lines]\n",
    );
    for seat in seats {
        let _ = writeln!(text, "{:<width$} = {{ track = {} }}", seat.id, quoted(&seat.line_track));
    }
    for stretch in stretches {
        let _ = write!(
            text,
            "\n[[passage]]\nname = {}\nbars = [{}, {}]\n[passage.casting]\n",
            quoted(&stretch.name),
            stretch.from_bar,
            stretch.to_bar
        );
        for seat in &stretch.playing {
            let _ = writeln!(text, "{:<width$} = \"as written\"", seats[*seat].id);
        }
    }
    text
}

pub(super) fn template(seats: &[Seat]) -> String {
    let mut text = String::from(
        "# The template: chairs in score order, to be shared by cues.\n\
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

/// A TOML basic string (TOML 1.0, section String).
fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for c in text.chars() {
        match c {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            '\n' => out.push_str("\\n"),
            '\t' => out.push_str("\\t"),
            '\r' => out.push_str("\\r"),
            c if c.is_control() => {
                let _ = write!(out, "\\u{:04X}", u32::from(c));
            }
            c => out.push(c),
        }
    }
    out.push('"');
    out
}

fn stem(path: &str) -> &str {
    let file = path.rsplit(['/', '\\']).next().unwrap_or(path);
    file.rsplit_once('.').map_or(file, |(stem, _)| stem)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn strings_are_escaped() {
        assert_eq!(quoted("a \"b\" \\ \u{1}\n"), r#""a \"b\" \\ \u0001\n""#);
        assert_eq!(stem("music/night-ferry.mid"), "night-ferry");
    }
}
