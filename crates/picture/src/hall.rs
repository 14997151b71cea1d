//! The plan of the stage from above: the conductor at the foot, arcs every two metres, each chair at its desks or stands with
//! its name. The line under a name says which hall the chair is sent to; a dagger marks what differs from its family.
//!
//! Takes seats in metres, gives SVG. Names never lie on each other as long as there is room beside the desks for them.

use crate::staff::width;
use crate::svg::{Path, escape, number};
use ripieno_units::math;
use std::fmt::Write as _;

/// Points a metre.
pub const METRE: f64 = 40.0;

/// Metres between arcs.
const ARCS: f64 = 2.0;

/// Size of names, points.
const SIZE: f64 = 12.5;

/// Share of the most that a line of words can take which it commonly takes, measured by eye in book serifs.
const TYPICAL: f64 = 0.74;

/// Room of a name: its height with the line under it, points.
const LINE: f64 = 17.0;

/// How bad a line through a name is, in square points of lying on it: less bad than to lie on a stand.
const CROSSED: f64 = 8.0;

/// Most desks or stands that are drawn of one chair; a choir of hundreds is as well told by these.
const MOST_DRAWN: usize = 48;

/// The farthest that is drawn, metres: a seat may be written anywhere.
const FARTHEST: f64 = 60.0;

/// Metres from desk to desk, from stand to stand, and from rank to rank: as close as players sit (common practice, no source).
const DESKS: f64 = 1.2;
const STANDS: f64 = 0.75;
const RANKS: f64 = 0.62;

/// A chair on the plan.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Seat {
    /// Its id.
    pub id: String,
    /// Its name.
    pub name: String,
    /// Metres to the conductor's right.
    pub x: f64,
    /// Metres upstage.
    pub y: f64,
    /// Metres to each side of its middle.
    pub half_width: f64,
    /// How many play.
    pub players: u16,
    /// Two at a desk, as strings sit.
    pub desks: bool,
    /// Which of [`Plan::halls`] it is sent to; none if it is dry.
    pub hall: Option<usize>,
    /// What differs from its family, in words.
    pub exception: Option<String>,
    /// It plays nothing in this cue.
    pub silent: bool,
    /// All of this in words.
    pub told: String,
}

/// The stage.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Plan {
    /// The chairs.
    pub seats: Vec<Seat>,
    /// Names of the halls.
    pub halls: Vec<String>,
}

/// A box on the paper: left, top, right, bottom.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Room(f64, f64, f64, f64);

impl Room {
    fn shared(self, other: Self) -> f64 {
        let across = self.2.min(other.2) - self.0.max(other.0);
        let down = self.3.min(other.3) - self.1.max(other.1);
        if across > 0.0 && down > 0.0 { across * down } else { 0.0 }
    }

    /// How far two rooms are apart.
    fn apart(self, other: Self) -> f64 {
        let across = (self.0.max(other.0) - self.2.min(other.2)).max(0.0);
        let down = (self.1.max(other.1) - self.3.min(other.3)).max(0.0);
        across + down
    }

    fn outside(self, of: Self) -> f64 {
        let over = |x: f64| x.max(0.0);
        over(of.0 - self.0) + over(self.2 - of.2) + over(of.1 - self.1) + over(self.3 - of.3)
    }
}

/// Where the players of a seat are drawn, points from its middle, with the direction in which they look.
struct Drawn {
    at: Vec<(f64, f64)>,
    look: (f64, f64),
    room: Room,
}

fn metres(x: f64) -> f64 {
    if x.is_finite() { x.clamp(-FARTHEST, FARTHEST) } else { 0.0 }
}

fn drawn(seat: &Seat) -> Drawn {
    let (x, y) = (metres(seat.x), metres(seat.y));
    let far = math::sqrt(x * x + y * y);
    // Up the page is away from the audience; whoever sits on the conductor looks at the audience.
    let look = if far < 0.05 { (0.0, 1.0) } else { (-x / far, y / far) };
    let across = (-look.1, look.0);
    let count = if seat.desks { usize::from(seat.players).div_ceil(2) } else { seat.players.into() };
    let count = count.clamp(1, MOST_DRAWN);
    let apart = if seat.desks { DESKS } else { STANDS };
    let wide = 2.0 * metres(seat.half_width).abs();
    let in_rank = ((wide / apart).floor() as usize + 1).min(count);
    let ranks = count.div_ceil(in_rank);
    let mut at = Vec::with_capacity(count);
    for rank in 0..ranks {
        let here = (count - rank * in_rank).min(in_rank);
        let step = if in_rank > 1 { wide.max(apart * 0.9) / (in_rank as f64) } else { 0.0 };
        for n in 0..here {
            let side = (n as f64 - (here as f64 - 1.0) / 2.0) * step * METRE;
            let back = (rank as f64 - (ranks as f64 - 1.0) / 2.0) * RANKS * METRE;
            at.push((side * across.0 - back * look.0, side * across.1 - back * look.1));
        }
    }
    let reach = if seat.desks { 11.0 } else { 8.0 };
    let (sx, sy) = (x * METRE, -y * METRE);
    let low = |f: fn(&(f64, f64)) -> f64| at.iter().map(f).fold(f64::INFINITY, f64::min);
    let high = |f: fn(&(f64, f64)) -> f64| at.iter().map(f).fold(f64::NEG_INFINITY, f64::max);
    let room = Room(
        sx + low(|p| p.0) - reach,
        sy + low(|p| p.1) - reach,
        sx + high(|p| p.0) + reach,
        sy + high(|p| p.1) + reach,
    );
    Drawn { at, look, room }
}

/// The room of one desk or stand of a seat.
fn standing(seat: &Seat, at: (f64, f64)) -> Room {
    let (x, y) = (metres(seat.x) * METRE + at.0, -metres(seat.y) * METRE + at.1);
    let reach = if seat.desks { 9.0 } else { 6.5 };
    Room(x - reach, y - reach, x + reach, y + reach)
}

/// The thin line that leads from the nearest of some desks to a name that stands away from them.
fn lead(desks: &[Room], name: Room) -> Option<[(f64, f64); 2]> {
    let apart = |p: &&Room| p.apart(name);
    let r = desks.iter().min_by(|a, b| apart(a).total_cmp(&apart(b)))?;
    let middle = ((name.0 + name.2) / 2.0, (name.1 + name.3) / 2.0);
    let near = (middle.0.clamp(r.0, r.2), middle.1.clamp(r.1, r.3));
    let from = (near.0.clamp(name.0, name.2), near.1.clamp(name.1, name.3));
    let gap = (from.0 - near.0).abs() + (from.1 - near.1).abs();
    (gap > 8.0).then_some([near, from])
}

/// Does a line go through a room?
fn through([a, b]: [(f64, f64); 2], room: Room) -> bool {
    const STEPS: u32 = 12;
    (0..=STEPS).any(|n| {
        let t = f64::from(n) / f64::from(STEPS);
        let (x, y) = (a.0 + t * (b.0 - a.0), a.1 + t * (b.1 - a.1));
        x > room.0 && x < room.2 && y > room.1 && y < room.3
    })
}

/// The paper that holds all seats.
fn paper(rooms: &[Room]) -> Room {
    let wide = rooms.iter().map(|r| r.2.max(-r.0)).fold(7.0 * METRE, f64::max) + 0.8 * METRE;
    let top = rooms.iter().map(|r| r.1).fold(-8.0 * METRE, f64::min) - 0.7 * METRE;
    let foot = rooms.iter().map(|r| r.3).fold(0.8 * METRE, f64::max) + 0.5 * METRE;
    Room(-wide, top, wide, foot)
}

fn label(seat: &Seat) -> String {
    let mut text = seat.name.clone();
    if seat.players > 1 {
        let _ = write!(text, " {}", seat.players);
    }
    if seat.exception.is_some() {
        text.push_str(" †");
    }
    text
}

/// Places for the names: every name takes the place where it covers least, several times over so that all agree.
fn labels(seats: &[Seat], drawn: &[Drawn], paper: Room) -> Vec<Room> {
    labels_at(seats, drawn, paper, CROSSED)
}

/// The same where a line through a name is so bad.
fn labels_at(seats: &[Seat], drawn: &[Drawn], paper: Room, crossing: f64) -> Vec<Room> {
    let widths: Vec<f64> = seats.iter().map(|s| TYPICAL * width(&label(s), SIZE) + 12.0).collect();
    let players: Vec<Vec<Room>> = seats
        .iter()
        .zip(drawn)
        .map(|(seat, drawn)| drawn.at.iter().map(|p| standing(seat, *p)).collect())
        .collect();
    let mut placed: Vec<Option<Room>> = vec![None; seats.len()];
    for _ in 0..6 {
        for i in 0..seats.len() {
            let (Room(l, t, r, b), wide) = (drawn[i].room, widths[i]);
            let (cx, cy) = ((l + r) / 2.0, (t + b) / 2.0);
            let at = |x: f64, y: f64| Room(x, y, x + wide, y + LINE);
            let mut tries = Vec::new();
            for n in 0..5 {
                let down = f64::from(n) * (LINE + 1.0);
                for shift in [0.0, -0.35, 0.35, -0.6, 0.6] {
                    tries.push(at(cx - wide / 2.0 + shift * wide, b + down));
                    tries.push(at(cx - wide / 2.0 + shift * wide, t - LINE - down));
                }
                for turn in [0.0, -1.0, 1.0] {
                    tries.push(at(r + 3.0, cy - LINE / 2.0 + turn * down));
                    tries.push(at(l - 3.0 - wide, cy - LINE / 2.0 + turn * down));
                }
            }
            // A wide section may have its name beside any of its desks.
            for p in &players[i] {
                tries.push(at((p.0 + p.2) / 2.0 - wide / 2.0, p.3 + 1.0));
                tries.push(at((p.0 + p.2) / 2.0 - wide / 2.0, p.1 - LINE - 1.0));
                tries.push(at(p.2 + 2.0, (p.1 + p.3 - LINE) / 2.0));
                tries.push(at(p.0 - 2.0 - wide, (p.1 + p.3 - LINE) / 2.0));
            }
            let cost = |room: Room| {
                let mine = lead(&players[i], room);
                // What of another name is covered, and whether the line to either goes through the other.
                let crossed = |j: usize, other: Room| {
                    mine.is_some_and(|l| through(l, other))
                        || lead(&players[j], other).is_some_and(|l| through(l, room))
                };
                let names: f64 = (0..seats.len())
                    .filter(|j| *j != i)
                    .filter_map(|j| placed[j].map(|o| (j, o)))
                    .map(|(j, o)| o.shared(room) + if crossed(j, o) { crossing } else { 0.0 })
                    .sum();
                let desks: f64 = players.iter().flatten().map(|p| p.shared(room)).sum();
                let away = players[i].iter().map(|p| p.apart(room)).fold(f64::INFINITY, f64::min);
                let off = ((room.0 + room.2) / 2.0 - cx).abs() + ((room.1 + room.3) / 2.0 - cy).abs();
                40.0 * names + 2.5 * desks + 200.0 * room.outside(paper) + 2.0 * away + 0.2 * off
            };
            placed[i] = tries.into_iter().min_by(|a, b| cost(*a).total_cmp(&cost(*b)));
        }
    }
    placed.into_iter().map(|p| p.unwrap_or(Room(0.0, 0.0, 1.0, 1.0))).collect()
}

/// Draws the plan. Every seat is a group `seat-ID` that can be focused, with its place in metres as data.
pub fn plan(plan: &Plan) -> String {
    let drawn: Vec<Drawn> = plan.seats.iter().map(drawn).collect();
    let rooms: Vec<Room> = drawn.iter().map(|d| d.room).collect();
    let paper = paper(&rooms);
    let names = labels(&plan.seats, &drawn, paper);
    let mut out = format!(
        r#"<svg class="stage" id="stage" viewBox="{} {} {} {}" role="group" aria-label="The stage from above, the conductor at the foot" data-metre="{}">"#,
        number(paper.0),
        number(paper.1),
        number(paper.2 - paper.0),
        number(paper.3 - paper.1),
        number(METRE)
    );
    arcs(&mut out, paper);
    for ((seat, drawn), name) in plan.seats.iter().zip(&drawn).zip(&names) {
        self::seat(&mut out, seat, drawn, *name);
    }
    out + "</svg>"
}

fn arcs(out: &mut String, paper: Room) {
    let mut path = Path::new();
    let deepest = (-paper.1).max(paper.2) / METRE;
    let mut words = String::new();
    let mut n = 1;
    while f64::from(n) * ARCS < deepest {
        let r = f64::from(n) * ARCS * METRE;
        // Two quarter circles as Bézier curves.
        let k = 0.552_284_75 * r;
        path.to(-r, 0.0);
        path.curve((-r, -k), (-k, -r), (0.0, -r)).curve((k, -r), (r, -k), (r, 0.0));
        if r + 20.0 < paper.2 {
            let _ = write!(
                words,
                r#"<text class="far" x="{}" y="15" text-anchor="middle">{} m</text>"#,
                number(r),
                f64::from(n) * ARCS
            );
        }
        n += 1;
    }
    let _ = write!(out, r#"<path class="arcs" d="{}"/>"#, path.data());
    // The conductor: a stand and a square of floor.
    let mut stand = Path::new();
    stand.to(-11.0, -5.0).line(11.0, -5.0).line(11.0, 9.0).line(-11.0, 9.0).close();
    stand.to(-6.0, 0.0).line(0.0, -2.5).line(6.0, 0.0);
    let _ = write!(
        out,
        r#"<path class="conductor" d="{}"/><text class="far" x="0" y="26" text-anchor="middle">conductor; an arc every two metres</text>{words}"#,
        stand.data()
    );
}

fn seat(out: &mut String, seat: &Seat, drawn: &Drawn, name: Room) {
    let (x, y) = (metres(seat.x), metres(seat.y));
    let (sx, sy) = (x * METRE, -y * METRE);
    let silent = if seat.silent { " silent" } else { "" };
    let marked = if seat.exception.is_some() { " marked" } else { "" };
    let _ = write!(
        out,
        r#"<g class="seat{silent}{marked}" id="seat-{id}" data-chair="{id}" data-x="{}" data-y="{}" tabindex="0" role="button" aria-roledescription="seat" aria-label="{told}" transform="translate({} {})"><title>{told}</title>"#,
        number(seat.x),
        number(seat.y),
        number(sx),
        number(sy),
        id = escape(&seat.id),
        told = escape(&seat.told),
    );
    let r = drawn.room;
    // Something to take hold of.
    let _ = write!(
        out,
        r#"<rect class="hold" x="{}" y="{}" width="{}" height="{}" rx="6"/>"#,
        number(r.0 - sx),
        number(r.1 - sy),
        number(r.2 - r.0),
        number(r.3 - r.1)
    );
    let (mut stands, mut heads) = (Path::new(), Path::new());
    let (lx, ly) = drawn.look;
    let (ax, ay) = (-ly, lx);
    for (px, py) in &drawn.at {
        let half = if seat.desks { 7.0 } else { 4.0 };
        let (fx, fy) = (px + 4.5 * lx, py + 4.5 * ly);
        stands.to(fx - half * ax, fy - half * ay).line(fx + half * ax, fy + half * ay);
        let players: &[f64] = if seat.desks { &[-4.5, 4.5] } else { &[0.0] };
        for side in players {
            let (hx, hy) = (px + side * ax - 2.5 * lx, py + side * ay - 2.5 * ly);
            heads.to(hx - 2.6, hy);
            heads.curve((hx - 2.6, hy - 3.4), (hx + 2.6, hy - 3.4), (hx + 2.6, hy));
            heads.curve((hx + 2.6, hy + 3.4), (hx - 2.6, hy + 3.4), (hx - 2.6, hy)).close();
        }
    }
    let _ = write!(
        out,
        r#"<path class="stands" d="{}"/><path class="heads" d="{}"/>"#,
        stands.data(),
        heads.data()
    );
    // A thin line leads to a name that stands away from its desks.
    let desks: Vec<Room> = drawn.at.iter().map(|p| standing(seat, *p)).collect();
    if let Some([near, from]) = lead(&desks, name) {
        let mut line = Path::new();
        line.to(near.0 - sx, near.1 - sy).line(from.0 - sx, from.1 - sy);
        let _ = write!(out, r#"<path class="lead" d="{}"/>"#, line.data());
    }
    let middle = (name.0 + name.2) / 2.0;
    let text = label(seat);
    let _ = write!(
        out,
        r#"<text x="{}" y="{}" font-size="{SIZE}" text-anchor="middle">{}</text>"#,
        number(middle - sx),
        number(name.1 + 12.5 - sy),
        escape(&text)
    );
    out.push_str(&under(seat.hall, name.0 + 5.0 - sx, name.2 - 5.0 - sx, name.1 + 15.5 - sy));
    out.push_str("</g>");
}

/// The line that stands for a hall: the first is plain, the second dashed, then dotted, double, dash and dot; dry has none.
fn under(hall: Option<usize>, from: f64, to: f64, y: f64) -> String {
    let Some(hall) = hall else { return String::new() };
    let mut path = Path::new();
    path.to(from, y).across(to);
    if hall == 3 {
        path.to(from, y + 2.4).across(to);
    }
    format!(r#"<path class="to-hall hall-{}" d="{}"/>"#, hall.min(4), path.data())
}

/// The same line as a sign of its own, for lists of halls.
pub fn hall_sign(hall: Option<usize>) -> String {
    let line = under(hall, 1.0, 31.0, 4.0);
    format!(r#"<svg class="hall-sign" viewBox="0 0 32 9" aria-hidden="true">{line}</svg>"#)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seat(id: &str, x: f64, y: f64, players: u16) -> Seat {
        Seat {
            id: id.into(),
            name: format!("Chair {id}"),
            x,
            y,
            half_width: if players > 2 { 1.6 } else { 0.4 },
            players,
            desks: players > 4,
            hall: Some(0),
            ..Seat::default()
        }
    }

    /// Twenty chairs as an orchestra sits: no name lies on another one.
    #[test]
    fn names_do_not_lie_on_each_other() {
        let rows: [(f64, &[f64], u16); 5] = [
            (2.2, &[-3.6, 3.8], 12),
            (4.2, &[-1.6, 1.8], 10),
            (6.2, &[-2.2, -1.0, 1.0, 2.2], 2),
            (7.4, &[-2.2, -1.0, 1.0, 2.2], 2),
            (9.0, &[-3.8, 0.2, 2.4, 3.8, 5.0], 3),
        ];
        let seats: Vec<Seat> = rows
            .iter()
            .flat_map(|(y, xs, players)| xs.iter().map(move |x| (*x, *y, *players)))
            .enumerate()
            .map(|(i, (x, y, players))| seat(&format!("c{i}"), x, y, players))
            .collect();
        let drawn: Vec<Drawn> = seats.iter().map(drawn).collect();
        let rooms: Vec<Room> = drawn.iter().map(|d| d.room).collect();
        let names = labels(&seats, &drawn, paper(&rooms));
        for (i, a) in names.iter().enumerate() {
            for b in &names[i + 1..] {
                assert!(a.shared(*b) < 1.0, "{a:?} {b:?}");
            }
        }
    }

    /// Winds and brass side by side: lines to names go through fewer names than where nobody minds, and through hardly any.
    #[test]
    fn lines_to_names_go_round_other_names() {
        let row = |name: &str, x: f64, y: f64, count: usize| -> Vec<Seat> {
            (0..count).map(|n| seat(&format!("{name} {n}"), x + 0.8 * n as f64, y, 1)).collect()
        };
        let rows = [
            ("trumpet", -0.2, 9.0, 2),
            ("trombone", 1.6, 9.2, 3),
            ("bassoon", 0.6, 7.4, 3),
            ("clarinet", -2.2, 7.4, 3),
            ("horn", -5.0, 8.2, 4),
        ];
        let seats: Vec<Seat> =
            rows.into_iter().flat_map(|(name, x, y, count)| row(name, x, y, count)).collect();
        let drawn: Vec<Drawn> = seats.iter().map(drawn).collect();
        let rooms: Vec<Room> = drawn.iter().map(|d| d.room).collect();
        let crossed = |crossing: f64| {
            let names = labels_at(&seats, &drawn, paper(&rooms), crossing);
            let line = |i: usize| {
                let desks: Vec<Room> = drawn[i].at.iter().map(|p| standing(&seats[i], *p)).collect();
                lead(&desks, names[i])
            };
            let pairs = (0..names.len()).flat_map(|i| (0..names.len()).map(move |j| (i, j)));
            pairs.filter(|(i, j)| i != j && line(*i).is_some_and(|l| through(l, names[*j]))).count()
        };
        let (minded, unminded) = (crossed(CROSSED), crossed(0.0));
        assert!(minded < unminded && minded <= 1, "{minded}, {unminded}");
    }

    #[test]
    fn as_many_desks_as_players_need_and_no_more_than_can_be_seen() {
        assert_eq!(drawn(&seat("a", 0.0, 5.0, 14)).at.len(), 7);
        assert_eq!(drawn(&seat("a", 0.0, 5.0, 3)).at.len(), 3);
        assert_eq!(drawn(&seat("a", 0.0, 5.0, 60_000)).at.len(), MOST_DRAWN);
        // In the middle, the players look down the page, to the conductor.
        assert_eq!(drawn(&seat("a", 0.0, 5.0, 1)).look, (0.0, 1.0));
    }

    #[test]
    fn strange_numbers_and_names_draw_all_the_same() {
        let mut odd = seat("a\"<b>", f64::NAN, f64::INFINITY, 0);
        odd.half_width = -1e300;
        odd.exception = Some("dry".into());
        let out = plan(&Plan { seats: vec![odd, seat("b", -1e9, 1e9, 3)], halls: vec!["x".into()] });
        assert!(!out.contains("NaN") && !out.contains("inf") && !out.contains("<b>"));
        assert!(plan(&Plan::default()).contains("conductor"));
    }

    #[test]
    fn halls_differ_by_their_lines() {
        let signs: Vec<String> = (0..5).map(|n| hall_sign(Some(n))).collect();
        for (i, a) in signs.iter().enumerate() {
            assert!(signs[i + 1..].iter().all(|b| b != a));
        }
        assert!(!hall_sign(None).contains("path"));
    }
}
