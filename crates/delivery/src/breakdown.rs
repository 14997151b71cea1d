//! Which groups of a passage are worth hearing alone, found from the casting, in the order of a talk.

use ripieno_music::Role;

/// A chair in a passage.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Seat {
    /// Its id.
    pub chair: String,
    /// As printed.
    pub name: String,
    /// Its family.
    pub family: &'static str,
    /// What it does here.
    pub role: Role,
    /// The chair that it plays with, where its cell says so.
    pub with: Option<String>,
    /// Percussion with pitch: bells, bars, timpani.
    pub tuned: bool,
    /// It has not played in the cue before.
    pub new: bool,
}

/// A passage as it is cast: those who play in it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Scene {
    /// Its name.
    pub name: String,
    /// First bar.
    pub from_bar: i32,
    /// Last bar.
    pub to_bar: i32,
    /// Who plays, in score order.
    pub seats: Vec<Seat>,
}

/// What is heard, and what is said about it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Talk {
    /// Index of the passage.
    pub scene: usize,
    /// What is heard, in a few words: it names the file.
    pub name: String,
    /// The chairs; all of the passage for the whole.
    pub chairs: Vec<String>,
    /// The whole passage.
    pub whole: bool,
    /// A sentence that says what is heard.
    pub says: String,
}

/// What is heard alone of every passage, and then each passage whole. A group of one passage is heard once, and not where it is
/// all that plays.
pub fn choose(scenes: &[Scene]) -> Vec<Talk> {
    let mut out = Vec::new();
    for (number, scene) in scenes.iter().enumerate() {
        if scene.seats.is_empty() {
            continue;
        }
        let mut heard: Vec<Vec<String>> = vec![scene.seats.iter().map(|s| s.chair.clone()).collect()];
        for (name, members, says) in groups(scene) {
            let chairs: Vec<String> = members.iter().map(|s| s.chair.clone()).collect();
            if chairs.is_empty() || heard.contains(&chairs) {
                continue;
            }
            heard.push(chairs.clone());
            out.push(Talk { scene: number, name, chairs, whole: false, says });
        }
        let all: Vec<&Seat> = scene.seats.iter().collect();
        out.push(Talk {
            scene: number,
            name: "all together".into(),
            chairs: all.iter().map(|s| s.chair.clone()).collect(),
            whole: true,
            says: format!("The whole passage: {}.", listed(&all)),
        });
    }
    out
}

type Group<'a> = (String, Vec<&'a Seat>, String);

fn groups(scene: &Scene) -> Vec<Group<'_>> {
    let those = |wanted: &dyn Fn(&Seat) -> bool| scene.seats.iter().filter(|s| wanted(s)).collect::<Vec<_>>();
    let mut out: Vec<Group<'_>> = Vec::new();
    let tune = those(&|s| s.role == Role::Tune);
    if !tune.is_empty() {
        // Names of instruments are singular and plural as they come: the sentences do without a verb.
        let follows = |s: &&&Seat| s.with.as_ref().is_some_and(|w| tune.iter().any(|o| o.chair == *w));
        let doubling: Vec<&Seat> = tune.iter().filter(follows).copied().collect();
        let leading: Vec<&Seat> = tune.iter().filter(|s| !follows(s)).copied().collect();
        let says = match (&leading[..], &doubling[..]) {
            ([alone], []) => format!("The tune, alone: {}.", alone.name),
            ([], all) | (all, []) => format!("The tune: {}.", listed(all)),
            (leading, doubling) => format!("The tune: {}, doubled by {}.", listed(leading), listed(doubling)),
        };
        out.push(("the tune".into(), tune, says));
    }
    let counter = those(&|s| s.role == Role::Counter);
    if !counter.is_empty() {
        let says = format!("The second melody, beside the tune: {}.", listed(&counter));
        out.push(("the second melody".into(), counter, says));
    }
    for (family, name) in [("strings", "the strings"), ("voices", "the voices")] {
        let members = those(&|s| s.family == family);
        if !members.is_empty() {
            let says = format!("{} alone: {}.", capital(name), doing(&members));
            out.push((name.into(), members, says));
        }
    }
    let ringing = those(&|s| matches!(s.family, "plucked" | "keyboard") || s.tuned);
    if !ringing.is_empty() {
        let name = match (ringing.iter().any(|s| s.family == "plucked"), ringing.iter().any(|s| s.tuned)) {
            (true, true) => "harp and bells",
            (true, false) => "what is plucked",
            (false, true) => "tuned percussion",
            (false, false) => "the keyboards",
        };
        // Its players name it better where there are few.
        let name = if ringing.len() <= 2 { listed(&ringing) } else { name.to_string() };
        let says = format!("What rings on: {}.", doing(&ringing));
        out.push((name, ringing, says));
    }
    let new = those(&|s| s.new);
    if !new.is_empty() && new.len() < scene.seats.len() {
        let says = format!("Heard for the first time: {}.", doing(&new));
        out.push(("who is new".into(), new, says));
    }
    out
}

fn listed(seats: &[&Seat]) -> String {
    join(seats.iter().map(|s| s.name.clone()).collect())
}

fn doing(seats: &[&Seat]) -> String {
    let role = |s: &&Seat| match s.role {
        Role::Silence => s.name.clone(),
        role => format!("{} ({})", s.name, role.word()),
    };
    join(seats.iter().map(role).collect())
}

fn join(mut words: Vec<String>) -> String {
    match words.len() {
        0 | 1 => words.pop().unwrap_or_default(),
        _ => {
            let last = words.pop().unwrap_or_default();
            format!("{} and {last}", words.join(", "))
        }
    }
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |c| c.to_uppercase().chain(letters).collect())
}

/// The list that goes with the files: number, passage, bars, what is heard. `files` are their names, in the order of `talks`.
pub fn text(title: &str, scenes: &[Scene], talks: &[Talk], files: &[String], before: u32) -> String {
    let mut text = format!(
        "{title}: how it is made\n\nEach begins {}.\n",
        match before {
            0 => "with its passage".to_string(),
            1 => "one bar before its passage".to_string(),
            n => format!("{n} bars before its passage, where there are so many"),
        }
    );
    let mut now = None;
    for (talk, file) in talks.iter().zip(files) {
        let scene = &scenes[talk.scene.min(scenes.len().saturating_sub(1))];
        if now != Some(talk.scene) {
            now = Some(talk.scene);
            text += &format!("\n{}, bars {} to {}\n", scene.name, scene.from_bar, scene.to_bar);
        }
        text += &format!("  {file}\n      {}\n", talk.says);
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seat(chair: &str, family: &'static str, role: Role) -> Seat {
        Seat { chair: chair.into(), name: chair.into(), family, role, with: None, tuned: false, new: false }
    }

    #[test]
    fn a_passage_is_taken_apart() {
        let mut violas = seat("violas", "strings", Role::Tune);
        violas.with = Some("cor anglais".into());
        let mut bell = seat("tubular bells", "percussion", Role::Punctuation);
        (bell.tuned, bell.new) = (true, true);
        let scene = Scene {
            name: "Casting off".into(),
            from_bar: 9,
            to_bar: 16,
            seats: vec![
                seat("cor anglais", "woodwind", Role::Tune),
                bell,
                seat("harp", "plucked", Role::Figure),
                violas,
                seat("cellos", "strings", Role::Bass),
            ],
        };
        let talks = choose(std::slice::from_ref(&scene));
        let names: Vec<&str> = talks.iter().map(|t| t.name.as_str()).collect();
        assert_eq!(
            names,
            ["the tune", "the strings", "tubular bells and harp", "who is new", "all together"]
        );
        assert_eq!(talks[0].chairs, ["cor anglais", "violas"]);
        assert_eq!(talks[0].says, "The tune: cor anglais, doubled by violas.");
        let list = text("Night Ferry", &[scene], &talks, &vec!["x.wav".into(); 5], 2);
        assert!(list.contains("Casting off, bars 9 to 16") && list.contains("2 bars before"));
    }

    #[test]
    fn what_is_all_there_is_is_heard_once() {
        let scene = Scene {
            name: "A".into(),
            from_bar: 1,
            to_bar: 4,
            seats: vec![seat("violins", "strings", Role::Tune)],
        };
        let talks = choose(&[scene.clone(), Scene { seats: Vec::new(), ..scene }]);
        assert_eq!(talks.len(), 1);
        assert!(talks[0].whole);
    }
}
