//! From text to the score as printed, part beside part.
//!
//! A large file is a few bytes of frame and long parts that know nothing of each other: it is cut at its parts, and these are
//! parsed and walked side by side. A file that cannot be cut so (by time, with prefixes or entities that only its head
//! explains, damaged) is parsed whole, which also says where the damage is; its parts are walked side by side all the same.

use super::header::{self, PartInfo};
use super::sheet::{BarFacts, PartSheet, Sheet};
use super::walk::Walker;
use super::warn::Doubts;
use super::xml::children;
use crate::FormatError;
use rayon::prelude::*;
use roxmltree::{Document, Node};
use std::collections::BTreeMap;

/// Where an element of a part begins, and where it ends.
const BEGINS: &str = "<part";
const ENDS: &str = "</part>";

/// Reads a text as it is printed.
///
/// Errors: no MusicXML, not well-formed, no bars.
pub(super) fn sheet(text: &str, doubts: &mut Doubts) -> Result<Sheet, FormatError> {
    let mut own = Doubts::default();
    if let Some(sheet) = in_pieces(text, &mut own) {
        doubts.append(own);
        return Ok(sheet);
    }
    let document = parse(text).map_err(|e| {
        let at = e.pos();
        FormatError::Damaged {
            format: "MusicXML",
            place: format!("line {}, column {}", at.row, at.col),
            message: format!("{e}. Export it again from where it was written"),
        }
    })?;
    whole(&document, doubts)
}

fn parse(text: &str) -> Result<Document<'_>, roxmltree::Error> {
    let options = roxmltree::ParsingOptions { allow_dtd: true, ..roxmltree::ParsingOptions::default() };
    Document::parse_with_options(text, options)
}

/// A text cut at its parts: the frame with an empty element in place of each, and the parts, each with the place of that
/// element.
fn cut(text: &str) -> (String, Vec<(usize, &str)>) {
    let (mut frame, mut parts) = (String::new(), Vec::new());
    let mut rest = text;
    // `<part-list>` and its like are no parts.
    let begins = |text: &str| {
        text.match_indices(BEGINS).map(|(at, _)| at).find(|at| {
            text.as_bytes().get(at + BEGINS.len()).is_some_and(|b| b.is_ascii_whitespace() || *b == b'>')
        })
    };
    while let Some(from) = begins(rest) {
        let Some(to) = rest[from..].find(ENDS).map(|length| from + length + ENDS.len()) else { break };
        frame.push_str(&rest[..from]);
        parts.push((frame.len(), &rest[from..to]));
        frame.push_str("<part/>");
        rest = &rest[to..];
    }
    frame.push_str(rest);
    (frame, parts)
}

/// Reads a partwise text in pieces. `None` where it cannot be cut: it must then be read whole.
fn in_pieces(text: &str, doubts: &mut Doubts) -> Option<Sheet> {
    let (frame, pieces) = cut(text);
    if pieces.len() < 2 {
        return None;
    }
    let frame = parse(&frame).ok()?;
    let root = frame.root_element();
    // What was taken for a part within a comment is none, and has no element.
    let elements = children(root, "part").map(|part| part.range().start);
    if root.tag_name().name() != "score-partwise" || !elements.eq(pieces.iter().map(|(at, _)| *at)) {
        return None;
    }
    let mut sheet = Sheet::default();
    header::title(root, &mut sheet);
    let infos = header::parts(root, doubts);
    let known: BTreeMap<&str, &PartInfo> = infos.iter().map(|info| (info.id.as_str(), info)).collect();
    // The identifier is known only once a piece is parsed; parsing is what takes time, so both are done in one go.
    let walked: Option<Vec<(String, Walked)>> = pieces
        .par_iter()
        .enumerate()
        .map(|(i, (_, piece))| {
            let document = parse(piece).ok()?;
            let part = document.root_element();
            let id = part_id(part, i, &infos);
            let bars: Vec<Node<'_, '_>> = children(part, "measure").collect();
            let info = known.get(id.as_str()).map_or_else(|| unlisted(id.clone()), |info| (*info).clone());
            Some((id, walk(info, &bars)))
        })
        .collect();
    let mut grid: BTreeMap<String, (usize, Walked)> = BTreeMap::new();
    for (order, (id, walked)) in walked?.into_iter().enumerate() {
        // Two elements of one part go on in each other.
        if grid.insert(id, (order, walked)).is_some() {
            return None;
        }
    }
    for (info, walked) in lined_up(infos, grid, doubts) {
        sheet.add(walked.unwrap_or_else(|| walk(info, &[])), doubts);
    }
    // Without bars the whole says what is wrong.
    (!sheet.bars.is_empty()).then_some(sheet)
}

fn whole(document: &Document<'_>, doubts: &mut Doubts) -> Result<Sheet, FormatError> {
    let root = document.root_element();
    let timewise = match root.tag_name().name() {
        "score-partwise" => false,
        "score-timewise" => true,
        "opus" => {
            return Err(FormatError::Unknown {
                found: "it is a MusicXML opus, a list of other files; open one of those".into(),
            });
        }
        other => {
            return Err(FormatError::Unknown { found: format!("its first element is <{other}>") });
        }
    };
    let mut sheet = Sheet::default();
    header::title(root, &mut sheet);
    let infos = header::parts(root, doubts);
    let grid = if timewise { by_time(root, &infos) } else { by_part(root, &infos) };
    let walked: Vec<Walked> = lined_up(infos, grid, doubts)
        .into_par_iter()
        .map(|(info, bars)| walk(info, &bars.unwrap_or_default()))
        .collect();
    for one in walked {
        sheet.add(one, doubts);
    }
    if sheet.bars.is_empty() {
        return Err(FormatError::Damaged {
            format: "MusicXML",
            place: "the score".into(),
            message: "has no bars. Export it again from where it was written".into(),
        });
    }
    Ok(sheet)
}

/// One part, walked through by itself.
struct Walked {
    part: PartSheet,
    bars: Vec<BarFacts>,
    doubts: Doubts,
}

/// A bar without a number goes by its place in the part, for the parts know nothing of each other here.
fn walk(info: PartInfo, measures: &[Node<'_, '_>]) -> Walked {
    let mut walker = Walker::new(info);
    let (mut bars, mut doubts) = (Vec::with_capacity(measures.len()), Doubts::default());
    for bar in measures {
        // Timewise, the bar's own element is the parent of the part's.
        let timewise = bar.tag_name().name() == "part";
        let measure = if timewise { bar.parent_element().unwrap_or(*bar) } else { *bar };
        let mut facts = BarFacts {
            printed: measure.attribute("number").unwrap_or("").trim().chars().take(32).collect(),
            implicit: super::xml::yes(measure, "implicit"),
            ..BarFacts::default()
        };
        walker.bar(*bar, &mut facts, &mut doubts);
        bars.push(facts);
    }
    Walked { part: walker.done(&mut doubts), bars, doubts }
}

impl Sheet {
    fn add(&mut self, next: Walked, doubts: &mut Doubts) {
        for (i, facts) in next.bars.into_iter().enumerate() {
            match self.bars.get_mut(i) {
                Some(own) => own.join(facts),
                None => self.bars.push(facts),
            }
        }
        doubts.append(next.doubts);
        self.parts.push(next.part);
    }
}

/// What there is of each part, in the order of the part list, which is the order of the score; then what the list forgot.
fn lined_up<B>(
    infos: Vec<PartInfo>,
    mut grid: BTreeMap<String, (usize, B)>,
    doubts: &mut Doubts,
) -> Vec<(PartInfo, Option<B>)> {
    let mut lined = Vec::new();
    for info in infos {
        let found = grid.remove(&info.id).map(|(_, found)| found);
        if found.is_none() {
            doubts.add(format!("part {}", info.id), "stands in the part list but has no music");
        }
        lined.push((info, found));
    }
    let mut rest: Vec<_> = grid.into_iter().collect();
    rest.sort_by_key(|(_, (order, _))| *order);
    for (id, (_, found)) in rest {
        doubts.add(format!("part {id}"), "is not in the part list; it is read without a name");
        lined.push((unlisted(id), Some(found)));
    }
    lined
}

fn unlisted(id: String) -> PartInfo {
    PartInfo { name: id.clone(), id, ..PartInfo::default() }
}

/// Bars by part id, with the order in which the parts first came.
type Grid<'a> = BTreeMap<String, (usize, Vec<Node<'a, 'a>>)>;

fn by_part<'a>(root: Node<'a, 'a>, infos: &[PartInfo]) -> Grid<'a> {
    let mut grid = Grid::new();
    for (i, part) in children(root, "part").enumerate() {
        let order = grid.len();
        let bars = &mut grid.entry(part_id(part, i, infos)).or_insert((order, Vec::new())).1;
        bars.extend(children(part, "measure"));
    }
    grid
}

fn by_time<'a>(root: Node<'a, 'a>, infos: &[PartInfo]) -> Grid<'a> {
    let mut grid = Grid::new();
    for measure in children(root, "measure") {
        for (i, part) in children(measure, "part").enumerate() {
            let order = grid.len();
            grid.entry(part_id(part, i, infos)).or_insert((order, Vec::new())).1.push(part);
        }
    }
    grid
}

fn part_id(part: Node<'_, '_>, index: usize, infos: &[PartInfo]) -> String {
    match part.attribute("id") {
        Some(id) => id.to_owned(),
        None => infos.get(index).map_or_else(|| format!("part-{}", index + 1), |i| i.id.clone()),
    }
}

#[cfg(test)]
mod tests {
    use super::super::{lay, order};
    use super::*;
    use proptest::prelude::*;

    /// The score of a text, read in pieces (if it may be) or whole.
    fn read(text: &str, pieces: bool) -> Option<String> {
        let mut doubts = Doubts::default();
        let sheet = match pieces {
            true => sheet(text, &mut doubts).ok()?,
            false => whole(&parse(text).ok()?, &mut doubts).ok()?,
        };
        let played: Vec<order::Played> =
            (0..sheet.bars.len()).map(|bar| order::Played { bar, pass: 1 }).collect();
        lay::score(sheet, &played, doubts).ok().map(|score| format!("{score:?}"))
    }

    const PART: &str = r#"<measure number="1"><attributes><divisions>2</divisions><time><beats>3</beats>
        <beat-type>4</beat-type></time></attributes><sound tempo="90"/><note><pitch><step>C</step><octave>4</octave></pitch>
        <duration>6</duration><voice>1</voice></note></measure><measure number="2" implicit="yes"><barline location="right">
        <repeat direction="backward"/></barline></measure>"#;

    fn score(parts: &[(&str, String)]) -> String {
        let list: String = parts
            .iter()
            .map(|(id, _)| format!("<score-part id=\"{id}\"><part-name>{id}</part-name></score-part>"))
            .collect();
        let music: String =
            parts.iter().map(|(id, music)| format!("<part id=\"{id}\">{music}</part>\n")).collect();
        format!("<score-partwise><part-list>{list}</part-list>{music}</score-partwise>")
    }

    #[test]
    fn is_cut_where_it_can_be() {
        let plain = score(&[("P1", PART.into()), ("P2", PART.into())]);
        assert!(in_pieces(&plain, &mut Doubts::default()).is_some());
        assert_eq!(read(&plain, true), read(&plain, false));
        assert!(read(&plain, false).is_some());
        let whole_only = [
            plain.replacen("<part id=\"P2\">", "<!-- <part> </part> --><part id=\"P2\">", 1),
            plain.replacen("<part id=\"P2\">", "<part id=\"P3\"/><part id=\"P2\">", 1),
            // As many elements as pieces, but not the same.
            plain
                .replacen("<part id=\"P1\">", "<!-- <part id=\"P1\">", 1)
                .replacen("<part id=\"P2\">", "--><part id=\"P2\">", 1)
                .replacen("</score-partwise>", "<part id=\"P1\"/></score-partwise>", 1),
            plain.replace("P2", "P1"),
            plain.replacen("<sound", "<a:b a:c=\"1\"/><sound", 1).replacen(
                "<score-partwise>",
                "<score-partwise xmlns:a=\"urn:a\">",
                1,
            ),
            plain.replacen("</measure>", "<note><!-- </part> --></note></measure>", 1),
        ];
        for text in whole_only {
            assert!(in_pieces(&text, &mut Doubts::default()).is_none(), "{text}");
            assert!(read(&text, false).is_some(), "{text}");
            assert_eq!(read(&text, true), read(&text, false));
        }
    }

    proptest! {
        /// Whatever stands in the way, it is read as if it had not been cut.
        #[test]
        fn in_pieces_as_whole(
            at in prop::collection::vec((0.0..1.0_f64, 0..14_usize), 0..4),
            same in any::<bool>(),
        ) {
            const THINGS: [&str; 14] = [
                "<!-- <part id=\"P9\"> -->", "<!--</part>-->", "<![CDATA[</part>]]>", "<part>", "</part>", "<part/>", "-->",
                "<!--", "&amp;", "&other;", "<direction><words>Fine</words></direction>", "]]>", "<part id='a>b'></part>", "<",
            ];
            let mut text = score(&[("P1", PART.into()), (if same { "P1" } else { "P2" }, PART.into()), ("P4", String::new())]);
            for (place, thing) in at {
                let index = (place * text.len() as f64) as usize;
                // After a tag, where such things may stand.
                let index = text[index..].find('>').map_or(text.len(), |i| index + i + 1);
                text.insert_str(index, THINGS[thing]);
            }
            prop_assert_eq!(read(&text, true), read(&text, false), "{}", text);
        }
    }
}
