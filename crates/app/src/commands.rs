//! One function a command.

use crate::{deliver, json, show};
use ripieno_cue::{
    Cue, CueError, DeliverOptions, DeliverPlan, PerformOptions, Performed, Purpose, RenderOptions, Rendered,
    StemKind, counted, write_file, write_result,
};
use std::io::Read;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Opens a cue and says what is doubtful in it.
fn open(path: &Path) -> Result<Cue, CueError> {
    let cue = Cue::open(path)?;
    for warning in &cue.warnings {
        show::say(&warning.to_string());
    }
    Ok(cue)
}

pub fn demo(dir: &Path) -> Result<ExitCode, CueError> {
    ripieno_cue::write_demo(dir)?;
    let cue = open(dir)?;
    let performed = ripieno_cue::perform(&cue, PerformOptions::default());
    let midi = cue.folder.join("performed.mid");
    write_performed(&cue, &performed, &midi)?;
    let rendered = render_watched(&cue, &performed, &RenderOptions::default())?;
    let checked = ripieno_cue::check(&cue, &performed);
    let report = ripieno_cue::report(&cue, &performed, Some(&checked), Some(&rendered.sounded()));
    write_result(&cue, &cue.folder.join("report.txt"), report.as_bytes())?;
    let page = ripieno_report::report(&cue, &performed, &checked, Some(&rendered.sounded()))?;
    write_result(&cue, &cue.folder.join("report.html"), page.as_bytes())?;
    show::print(&report);
    // The stems of the chairs stand beside the mix already: what is delivered here is little more than sums of them.
    let choice = DeliverPlan { stems: Some(vec![StemKind::Families]), ..DeliverPlan::default() };
    let progress = show::Progress::new("delivering");
    let delivered =
        deliver::run(&cue, &performed, &DeliverOptions { choice, ..DeliverOptions::default() }, &progress);
    progress.finish(delivered.is_ok());
    let delivered = delivered?;
    show::print("\nFiles\n");
    let mut files = vec![cue.folder.join("cue.toml"), cue.folder.join("template.toml"), midi];
    files.extend(rendered.files.iter().take(2).cloned());
    files.extend(["stems", "families", "report.txt", "report.html"].map(|name| cue.folder.join(name)));
    files.push(delivered.folder);
    for file in files {
        show::print(&format!("  {}\n", file.display()));
    }
    show::print(&format!(
        "\nChange a word of {} and run `ripieno perform {dir}` or `ripieno render {dir}`.\n",
        cue.folder.join("cue.toml").display(),
        dir = dir.display()
    ));
    Ok(ExitCode::SUCCESS)
}

pub fn new(dir: &Path, music: &Path, template: Option<&Path>) -> Result<ExitCode, CueError> {
    let created = ripieno_cue::create_with(dir, music, template)?;
    show::print(&format!(
        "{}: {}, {}; {} of {} double another chair with `col`, the rest play as written. Change the cells of {}.\n",
        created.folder.display(),
        counted(created.chairs, "chair"),
        counted(created.passages, "passage"),
        created.cols.0,
        counted(created.cols.1, "cell"),
        created.folder.join("cue.toml").display()
    ));
    for doubt in &created.doubts {
        show::print(&format!("  unsure: {doubt}\n"));
    }
    const MOST: usize = 20;
    for warning in created.warnings.iter().take(MOST) {
        show::say(&format!("  {warning}"));
    }
    if created.warnings.len() > MOST {
        show::say(&format!("  and {} more of the kind", created.warnings.len() - MOST));
    }
    Ok(ExitCode::SUCCESS)
}

pub fn read(
    file: &Path,
    template: Option<&Path>,
    purpose: Purpose,
    as_json: bool,
) -> Result<ExitCode, CueError> {
    let read = ripieno_cue::read(file, template, purpose)?;
    for remark in &read.remarks {
        show::say(remark);
    }
    if as_json {
        show::print(&in_json(file, json::read(&read))?);
    } else {
        show::print_wrapped(&ripieno_cue::describe(&read));
    }
    Ok(ExitCode::SUCCESS)
}

pub fn check(path: &Path, as_json: bool, strict: bool, take: &[String]) -> Result<ExitCode, CueError> {
    let checked = if take.is_empty() {
        let cue = open(path)?;
        let performed = ripieno_cue::perform(&cue, PerformOptions::default());
        ripieno_cue::check(&cue, &performed)
    } else {
        let taken = ripieno_cue::take(path, take)?;
        for change in &taken.changes {
            // Standard output is the document's alone.
            if as_json { show::say(change) } else { show::print(&format!("taken: {change}\n")) }
        }
        taken.checked
    };
    if as_json {
        show::print(&in_json(path, json::checked(&checked))?);
    } else {
        show::print_wrapped(&ripieno_cue::findings_text(&checked));
    }
    Ok(if strict && checked.impossible() { ExitCode::FAILURE } else { ExitCode::SUCCESS })
}

fn in_json(path: &Path, text: Result<String, serde_json::Error>) -> Result<String, CueError> {
    text.map_err(|error| CueError::Place {
        path: path.to_path_buf(),
        message: format!("the result cannot be written as JSON: {error}"),
    })
}

pub fn perform(
    path: &Path,
    output: Option<&Path>,
    on_grid: bool,
    as_json: bool,
) -> Result<ExitCode, CueError> {
    let cue = open(path)?;
    let options = if on_grid { PerformOptions::on_grid() } else { PerformOptions::default() };
    let performed = ripieno_cue::perform(&cue, options);
    let midi = output.map_or_else(|| cue.folder.join("performed.mid"), Path::to_path_buf);
    write_performed(&cue, &performed, &midi)?;
    if as_json {
        let text = json::performed(&performed.patches).map_err(|error| CueError::Place {
            path: midi,
            message: format!("the intent cannot be written as JSON: {error}"),
        })?;
        show::print(&text);
        return Ok(ExitCode::SUCCESS);
    }
    show::print(&ripieno_cue::report(&cue, &performed, None, None));
    show::print(&format!("\nWritten: {}\n", midi.display()));
    Ok(ExitCode::SUCCESS)
}

pub fn report(path: &Path, output: Option<&Path>) -> Result<ExitCode, CueError> {
    let cue = open(path)?;
    let performed = ripieno_cue::perform(&cue, PerformOptions::default());
    let checked = ripieno_cue::check(&cue, &performed);
    let html = ripieno_report::report(&cue, &performed, &checked, None)?;
    let to = output.map_or_else(|| cue.folder.join("report.html"), Path::to_path_buf);
    write_result(&cue, &to, html.as_bytes())?;
    show::print(&format!("Written: {}\n", to.display()));
    Ok(ExitCode::SUCCESS)
}

pub fn compare(before: &Path, after: &Path, as_json: bool) -> Result<ExitCode, CueError> {
    let changes = ripieno_cue::compare(&ripieno_cue::version(before)?, &ripieno_cue::version(after)?);
    if as_json {
        show::print(&in_json(after, json::changes(&changes))?);
    } else if changes.is_empty() {
        show::print("Nothing changed: both versions play the same, in the same places.\n");
    } else {
        changes.iter().for_each(|c| show::print(&format!("{}\n", c.message)));
    }
    Ok(ExitCode::SUCCESS)
}

pub fn adopt(path: &Path, file: &Path, as_json: bool) -> Result<ExitCode, CueError> {
    let cue = open(path)?;
    let adopted = ripieno_cue::adopt(&cue, file)?;
    adopted.remarks.iter().for_each(|r| show::say(r));
    if as_json {
        show::print(&in_json(path, json::marks(&adopted.marks))?);
    } else {
        let (changes, marks) =
            (counted(adopted.changed, "change"), counted(adopted.marks.len(), "pencil mark"));
        show::print(&format!("{changes} taken; {marks} in all (MIDI only)\n"));
    }
    Ok(ExitCode::SUCCESS)
}

pub fn pencil(path: &Path, as_json: bool, remove: &[u32], clear: bool) -> Result<ExitCode, CueError> {
    let cue = open(path)?;
    for id in remove {
        ripieno_cue::rub_out(&cue, Some(*id))?;
    }
    if clear {
        ripieno_cue::rub_out(&cue, None)?;
    }
    let marks = ripieno_cue::pencil(&cue)?;
    if as_json {
        show::print(&in_json(path, json::marks(&marks))?);
        return Ok(ExitCode::SUCCESS);
    }
    if marks.is_empty() {
        show::print("No pencil marks.\n");
    }
    for m in &marks {
        let no = m.no_longer.as_ref().map_or(String::new(), |why| format!("  (no longer fits: {why})"));
        let (id, chair, bar, beat, message) = (m.id, &m.chair, m.bar, m.beat, &m.message);
        show::print(&format!("{id:>4}  {chair}, {}, bar {bar} beat {beat:.2}: {message}{no}\n", m.passage));
    }
    Ok(ExitCode::SUCCESS)
}

pub fn score(path: &Path, output: Option<&Path>, transposed: bool) -> Result<ExitCode, CueError> {
    let cue = open(path)?;
    let performed = ripieno_cue::perform(&cue, PerformOptions::default());
    let into = output.unwrap_or(&cue.folder);
    let pitched = transposed.then_some(ripieno_cue::Pitched::Transposed);
    let (parts, remarks) = ripieno_cue::write_notation(&cue, &performed, into, pitched)?;
    for remark in &remarks {
        show::say(remark);
    }
    show::print(&format!(
        "{}: the score, and {}, in {}.\n",
        into.join("score.musicxml").display(),
        counted(parts, "part"),
        into.join("parts").display()
    ));
    Ok(ExitCode::SUCCESS)
}

pub fn render(path: &Path, options: RenderOptions) -> Result<ExitCode, CueError> {
    let cue = open(path)?;
    let performed = ripieno_cue::perform(&cue, PerformOptions::default());
    let rendered = render_watched(&cue, &performed, &options)?;
    for line in &rendered.summary {
        show::print(&format!("{line}\n"));
    }
    show::print(&format!("{}\n", rendered.work));
    for file in &rendered.files {
        show::print(&format!("Written: {}\n", file.display()));
    }
    Ok(ExitCode::SUCCESS)
}

/// Renders with a look at the progress; an interrupt stops it cleanly.
fn render_watched(cue: &Cue, performed: &Performed, options: &RenderOptions) -> Result<Rendered, CueError> {
    let progress = show::Progress::new("rendering");
    let rendered = ripieno_cue::render(cue, performed, options, &progress);
    progress.finish(rendered.is_ok());
    if let Ok(rendered) = &rendered {
        for remark in &rendered.remarks {
            show::say(remark);
        }
    }
    rendered
}

/// Writes the performed MIDI, and notes what it holds.
fn write_performed(cue: &Cue, performed: &Performed, to: &Path) -> Result<(), CueError> {
    write_result(cue, to, &ripieno_cue::write_midi(&performed.patches.file))?;
    ripieno_cue::note_performed(cue, performed)
}

pub fn fit(path: &Path, as_json: bool, take: Option<usize>, cut: Option<&str>) -> Result<ExitCode, CueError> {
    let cue = open(path)?;
    let sheet = ripieno_cue::fit(&cue, cut)?;
    if let Some(number) = take {
        let (cue, taken) = ripieno_cue::take_fit(path, number, cut)?;
        let line = format!("taken: proposal {number}, {}, in {}", taken.kind, cue.plan_path.display());
        if as_json {
            show::say(&line)
        } else {
            let lines = ripieno_cue::fit_lines(&taken)?;
            show::print(&format!("{line}, which says now:\n\n{lines}\n"));
            return Ok(ExitCode::SUCCESS);
        }
    }
    if as_json {
        show::print(&in_json(path, json::fit(&sheet))?);
    } else {
        show::print(&ripieno_cue::fit_text(&sheet, cut));
    }
    Ok(ExitCode::SUCCESS)
}

pub fn hall(words: &[PathBuf], as_json: bool) -> Result<ExitCode, CueError> {
    let mut halls = Vec::new();
    for word in words {
        halls.extend(ripieno_cue::measure_halls(word)?);
    }
    if words.is_empty() {
        halls = ripieno_cue::built_in_halls();
    }
    if as_json {
        let text = json::halls(&halls).map_err(|error| CueError::Place {
            path: PathBuf::from("hall"),
            message: format!("the figures cannot be written as JSON: {error}"),
        })?;
        show::print(&text);
    } else if words.is_empty() {
        show::print(&show::hall_list(&halls));
    } else {
        halls.iter().for_each(|h| show::print(&show::hall_table(h)));
    }
    Ok(ExitCode::SUCCESS)
}

pub fn patch(cards: &[PathBuf]) -> Result<ExitCode, CueError> {
    let mut faults = false;
    for path in cards {
        let (card, found) = ripieno_cue::read_card(path)?;
        for diagnostic in &found {
            show::say(&diagnostic.to_string());
        }
        if found.iter().any(|d| !d.warning) {
            faults = true;
        } else {
            show::print(&format!(
                "{}: \"{}\", {} articulation{}\n",
                path.display(),
                card.patch,
                card.articulations.len(),
                if card.articulations.len() == 1 { "" } else { "s" }
            ));
        }
    }
    Ok(if faults { ExitCode::from(2) } else { ExitCode::SUCCESS })
}

pub fn template(file: &Path, output: Option<&Path>) -> Result<ExitCode, CueError> {
    if file.extension().is_some_and(|e| e.eq_ignore_ascii_case("toml")) {
        let (template, found) = ripieno_cue::check_template(file)?;
        found.iter().for_each(|d| show::say(&d.to_string()));
        let faults = found.iter().any(|d| !d.warning);
        if !faults {
            let cards: std::collections::BTreeSet<&String> =
                template.chairs.iter().flat_map(|c| &c.cards).collect();
            let all = if found.is_empty() { "; every file that it names is there" } else { "" };
            show::print(&format!(
                "{}: {}, {}{all}\n",
                file.display(),
                counted(template.chairs.len(), "chair"),
                counted(cards.len(), "card")
            ));
        }
        return Ok(if faults { ExitCode::from(2) } else { ExitCode::SUCCESS });
    }
    let made = ripieno_cue::template_from_session(file)?;
    made.doubts.iter().for_each(|doubt| show::say(&format!("unsure: {doubt}")));
    match output {
        Some(path) if path.exists() => {
            return Err(CueError::Place {
                path: path.to_path_buf(),
                message:
                    "there is a file of this name; a template is never written over. Choose another name"
                        .into(),
            });
        }
        Some(path) => {
            write_file(path, made.text.as_bytes())?;
            show::print(&format!("{}: {}\n", path.display(), counted(made.chairs, "chair")));
        }
        None => show::print(&made.text),
    }
    Ok(ExitCode::SUCCESS)
}

pub fn card_from_list(list: &Path, output: Option<&Path>) -> Result<ExitCode, CueError> {
    let text = if list == Path::new("-") {
        let mut text = String::new();
        std::io::stdin()
            .read_to_string(&mut text)
            .map_err(|error| CueError::Disk { path: list.to_path_buf(), error })?;
        text
    } else {
        ripieno_cue::read_list(list)?
    };
    let name = if list == Path::new("-") { "standard input".into() } else { list.display().to_string() };
    let (card, found) = ripieno_cue::card_from_list(&name, &text);
    for diagnostic in &found {
        show::say(&diagnostic.to_string());
    }
    if found.iter().any(|d| !d.warning) {
        return Ok(ExitCode::from(2));
    }
    match output {
        Some(path) if path.exists() => {
            return Err(CueError::Place {
                path: path.to_path_buf(),
                message:
                    "there is a file of this name; a patch card is never written over. Choose another name"
                        .into(),
            });
        }
        Some(path) => write_file(path, card.as_bytes())?,
        None => show::print(&card),
    }
    Ok(ExitCode::SUCCESS)
}
