//! A cue that is open on the page.
//!
//! A change is cast, performed and shown at once. The read-through takes longer: it follows on a thread of its own, which skips
//! what is out of date already. Another thread looks whether an editor has changed the files.

use crate::error::PageError;
use crate::fragments::{Fragments, Renewal};
use crate::html;
use crate::listen::Sound;
use crate::out::Out;
use ripieno_cue::view::{Board, LineRoles, Warned, board, opened_from, warnings};
use ripieno_cue::{
    Act, Checked, Cue, HallReport, Pencilled, Performed, Played, Pool, Workbench, performed_in,
};
use ripieno_picture::staff::Opened;
use ripieno_plan::{CellFault, HallKind};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Condvar, Mutex, PoisonError, RwLock, Weak};
use std::time::Duration;
use tokio::sync::watch;

/// How often the files are looked at.
const LOOK: Duration = Duration::from_millis(400);

/// How long nothing must change before the cue is read through.
const PAUSE: Duration = Duration::from_millis(300);

/// A cue, open.
pub struct Open {
    /// Its id in addresses.
    pub id: String,
    /// Its folder.
    pub folder: PathBuf,
    bench: Mutex<Workbench>,
    roles: RwLock<Arc<Roles>>,
    shown: RwLock<Arc<Shown>>,
    through: RwLock<Option<Arc<Through>>>,
    patched: Mutex<(Weak<Played>, Option<Arc<Performed>>)>,
    fragments: Mutex<Fragments>,
    drawn: Mutex<html::Drawn>,
    state: watch::Sender<u64>,
    due: (Mutex<u64>, Condvar),
    closed: AtomicBool,
    /// What is being written out.
    pub out: Arc<Out>,
    rooms: Mutex<Option<Measured>>,
    /// Its sound.
    pub sound: Sound,
}

/// What the rooms were made from, and what they measure.
type Measured = (Vec<String>, Arc<Vec<HallReport>>);

struct Roles {
    /// The music that they belong to.
    of: Arc<Cue>,
    lines: LineRoles,
}

/// What is shown: a state of the cue, cast and performed.
#[derive(Clone, Debug)]
pub struct Shown {
    /// The workbench's revision.
    pub revision: u64,
    /// Cast and performed.
    pub played: Arc<Played>,
    /// Its board.
    pub board: Board,
    /// What undo would take back, and redo make again.
    pub steps: (Option<String>, Option<String>),
    /// What is wrong with the files on the disk.
    pub trouble: Option<String>,
    /// Those that are away and can be put back.
    pub gone: Vec<PathBuf>,
    /// What they say that can hardly be meant.
    pub warnings: Vec<Warned>,
}

/// A state of the cue, performed for its patches and read through.
#[derive(Clone, Debug)]
pub struct Through {
    /// The workbench's revision.
    pub revision: u64,
    /// The cue.
    pub cue: Arc<Cue>,
    /// Read through.
    pub checked: Checked,
    /// What was changed by hand.
    pub pencil: Vec<Pencilled>,
}

impl Open {
    /// Opens a cue and begins to read it through.
    pub fn new(id: &str, path: &Path, folder: PathBuf) -> Result<Arc<Self>, PageError> {
        let bench = Workbench::open(path)?;
        let roles = Arc::new(Roles { of: Arc::clone(bench.cue()), lines: LineRoles::of(&bench.cue().score) });
        let shown = Arc::new(show(&bench, &roles.lines, None));
        let open = Arc::new(Self {
            id: id.to_string(),
            folder,
            roles: RwLock::new(roles),
            shown: RwLock::new(shown),
            through: RwLock::new(None),
            patched: Mutex::default(),
            fragments: Mutex::default(),
            drawn: Mutex::default(),
            state: watch::Sender::new(0),
            due: (Mutex::new(bench.revision()), Condvar::new()),
            closed: AtomicBool::new(false),
            out: Arc::default(),
            rooms: Mutex::default(),
            sound: Sound::default(),
            bench: Mutex::new(bench),
        });
        open.redraw(true);
        for work in [Self::read_through, Self::watch_files] {
            let weak = Arc::downgrade(&open);
            std::thread::spawn(move || {
                while let Some(open) = weak.upgrade().filter(|o| !o.closed.load(Ordering::Relaxed)) {
                    work(&open);
                }
            });
        }
        Ok(open)
    }

    /// Its title.
    pub fn title(&self) -> String {
        let shown = self.shown();
        let title = &shown.played.cue.plan.title;
        if title.is_empty() { self.id.clone() } else { title.clone() }
    }

    /// What is shown now.
    pub fn shown(&self) -> Arc<Shown> {
        Arc::clone(&self.shown.read().unwrap_or_else(PoisonError::into_inner))
    }

    /// The latest state that was read through.
    pub fn through(&self) -> Option<Arc<Through>> {
        self.through.read().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// What is shown, written for its patches: made once, for whoever wants it first.
    pub fn performed(&self, played: &Arc<Played>, pool: Pool) -> Arc<Performed> {
        let mut patched = self.patched.lock().unwrap_or_else(PoisonError::into_inner);
        if let (of, Some(performed)) = &*patched
            && Weak::ptr_eq(of, &Arc::downgrade(played))
        {
            return Arc::clone(performed);
        }
        let performed = Arc::new(performed_in(pool, played));
        *patched = (Arc::downgrade(played), Some(Arc::clone(&performed)));
        performed
    }

    /// A chair in a passage as it is shown now, with what was found when it was read through last.
    pub fn opened(&self, chair: &str, passage: &str) -> Option<Opened> {
        let roles = Arc::clone(&self.roles.read().unwrap_or_else(PoisonError::into_inner));
        let through = self.through();
        opened_from(
            &self.shown().played,
            &roles.lines,
            through.as_deref().map(|t| &t.checked),
            chair,
            passage,
        )
    }

    /// Does these acts as one step.
    pub fn act(&self, acts: &[Act]) -> Result<(), PageError> {
        self.change(|bench| bench.act(acts).map(|()| true))
    }

    /// Takes the last step back.
    pub fn undo(&self) -> Result<(), PageError> {
        self.change(Workbench::undo)
    }

    /// Makes it again.
    pub fn redo(&self) -> Result<(), PageError> {
        self.change(Workbench::redo)
    }

    /// Puts files back that are away. Gives how many.
    pub fn put_back(&self) -> Result<usize, PageError> {
        let mut back = 0;
        self.change(|bench| {
            back = bench.put_back()?;
            Ok(true)
        })?;
        Ok(back)
    }

    /// Reads the patch cards again: one of them was saved.
    pub fn read_cards(&self) -> Result<(), PageError> {
        self.change(|bench| bench.read_cards().map(|()| true))
    }

    /// The rooms of the cue, measured; kept until other rooms are named.
    pub fn rooms(&self) -> Result<Arc<Vec<HallReport>>, PageError> {
        let cue = Arc::clone(&self.shown().played.cue);
        let stage = &cue.template.stage;
        let own = stage.halls.iter().map(|h| match &h.kind {
            HallKind::Room(room) => format!("{} {} {:?}", h.name, room.name, h.reverberation),
            HallKind::Impulse { path, .. } => format!("{} {path}", h.name),
        });
        let named = stage.families.iter().map(|f| &f.1).chain(cue.template.chairs.iter().map(|c| &c.placing));
        let mut key: Vec<String> = own.collect();
        key.extend(named.filter_map(|p| p.hall.as_ref()).map(|h| h.name.clone()));
        key.extend(stage.common.iter().chain([&stage.hall]).map(|h| h.name.clone()));
        key.push(format!("{:?}", stage.reverberation));
        let mut rooms = self.rooms.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((of, reports)) = &*rooms
            && *of == key
        {
            return Ok(Arc::clone(reports));
        }
        let reports = Arc::new(ripieno_cue::cue_halls(&cue)?);
        *rooms = Some((key, Arc::clone(&reports)));
        Ok(reports)
    }

    /// What is wrong with a cell that is being typed.
    pub fn judge(&self, passage: &str, chair: &str, text: &str) -> Vec<CellFault> {
        self.bench.lock().unwrap_or_else(PoisonError::into_inner).judge(passage, chair, text)
    }

    fn change(
        &self,
        work: impl FnOnce(&mut Workbench) -> Result<bool, ripieno_cue::CueError>,
    ) -> Result<(), PageError> {
        let mut bench = self.bench.lock().unwrap_or_else(PoisonError::into_inner);
        let before = bench.revision();
        let result = work(&mut bench);
        // Even where the work was refused, an editor's change may have been seen.
        if bench.revision() != before {
            self.renew(&bench);
        }
        result.map(drop).map_err(PageError::from)
    }

    /// Shows the workbench as it is now. The caller holds it, so that states are shown in their order.
    fn renew(&self, bench: &Workbench) {
        let old = self.shown();
        let mut roles = Arc::clone(&self.roles.read().unwrap_or_else(PoisonError::into_inner));
        if !Arc::ptr_eq(&roles.of.score, &bench.cue().score) {
            roles = Arc::new(Roles { of: Arc::clone(bench.cue()), lines: LineRoles::of(&bench.cue().score) });
            *self.roles.write().unwrap_or_else(PoisonError::into_inner) = Arc::clone(&roles);
        }
        let shown = Arc::new(show(bench, &roles.lines, Some(&old.played)));
        let frame = |s: &Shown| {
            let columns: Vec<_> = s
                .board
                .columns
                .iter()
                .map(|c| (c.name.clone(), c.from_bar, c.to_bar, c.others.clone()))
                .collect();
            let rows: Vec<_> =
                s.board.rows.iter().map(|r| (r.chair.clone(), r.name.clone(), r.players, r.family)).collect();
            (columns, rows, s.played.cue.plan.title.clone())
        };
        let other = frame(&old) != frame(&shown);
        *self.shown.write().unwrap_or_else(PoisonError::into_inner) = shown;
        self.redraw(other);
        let (due, bell) = &self.due;
        *due.lock().unwrap_or_else(PoisonError::into_inner) = bench.revision();
        bell.notify_all();
        // Taking a large cue apart takes a while.
        Pool::Ears.later(move || drop(old));
    }

    /// Renews the fragments from what is shown and read through. `whole`: passages or chairs are others than before.
    fn redraw(&self, whole: bool) {
        // Whoever draws draws what is the latest: the reading thread must not put an older board over a newer one.
        let mut drawn = self.drawn.lock().unwrap_or_else(PoisonError::into_inner);
        let (shown, through) = (self.shown(), self.through());
        if whole {
            drawn.forget();
        }
        let pieces = html::pieces(&self.id, &mut drawn, &shown, through.as_deref());
        let mut fragments = self.fragments.lock().unwrap_or_else(PoisonError::into_inner);
        if whole {
            fragments.clear();
        }
        if fragments.renew(pieces) {
            self.state.send_replace(fragments.state());
        }
    }

    /// Works with the fragments as they are.
    pub fn with_fragments<T>(&self, work: impl FnOnce(&Fragments) -> T) -> T {
        work(&self.fragments.lock().unwrap_or_else(PoisonError::into_inner))
    }

    /// What is new since a state.
    pub fn since(&self, seen: u64) -> Renewal {
        self.with_fragments(|f| f.since(seen))
    }

    /// Tells of new states.
    pub fn states(&self) -> watch::Receiver<u64> {
        self.state.subscribe()
    }

    /// Ends the threads.
    pub fn close(&self) {
        self.closed.store(true, Ordering::Relaxed);
        self.out.stop();
        self.due.1.notify_all();
        self.sound.close();
    }

    fn read_through(&self) {
        let done = self.through().map_or(0, |t| t.revision);
        {
            let (due, bell) = &self.due;
            let due = due.lock().unwrap_or_else(PoisonError::into_inner);
            if *due <= done {
                // Wakes up now and then, to see whether the cue was closed.
                drop(bell.wait_timeout(due, LOOK));
                return;
            }
            // Whoever changes one cell may change the next: what is being changed goes before what is read.
            let latest = *due;
            if bell.wait_timeout(due, PAUSE).is_ok_and(|(now, _)| *now != latest) {
                return;
            }
        }
        let shown = self.shown();
        // Whatever was changed meanwhile makes this out of date: it is dropped, and begun anew after a pause.
        let newer = || {
            let due = self.due.0.lock().unwrap_or_else(PoisonError::into_inner);
            *due > shown.revision || self.closed.load(Ordering::Relaxed)
        };
        let performed = self.performed(&shown.played, Pool::Eyes);
        let Some(checked) = ripieno_cue::read_aside(&shown.played.cue, &performed, &newer) else { return };
        let through = Through {
            revision: shown.revision,
            cue: Arc::clone(&shown.played.cue),
            pencil: performed.pencil.clone(),
            checked,
        };
        *self.through.write().unwrap_or_else(PoisonError::into_inner) = Some(Arc::new(through));
        self.redraw(false);
    }

    fn watch_files(&self) {
        std::thread::sleep(LOOK);
        // What cannot be read now is told by the workbench as its trouble, and looked at again.
        let _ = self.change(Workbench::look);
    }
}

fn show(bench: &Workbench, roles: &LineRoles, before: Option<&Arc<Played>>) -> Shown {
    let played = Arc::new(Played::new(bench.cue(), before.map(Arc::as_ref)));
    Shown {
        revision: bench.revision(),
        board: Pool::Hands.work(|| board(&played, roles)),
        played,
        steps: (bench.undoes().map(str::to_string), bench.redoes().map(str::to_string)),
        trouble: bench.trouble().map(str::to_string),
        gone: bench.gone(),
        warnings: warnings(bench.cue()),
    }
}
