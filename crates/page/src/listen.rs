//! What is listened to of an open cue: its sound, kept up with the plan.

use crate::error::PageError;
use crate::open::Open;
use ripieno_cue::listen::Listener;
use ripieno_cue::{Played, Pool};
use std::sync::{Arc, Mutex, PoisonError, Weak};

/// The sound of an open cue: begun when somebody looks at it first.
#[derive(Default)]
pub struct Sound {
    now: Mutex<Option<(Weak<Played>, Arc<Listener>)>>,
}

impl Sound {
    /// The listener, at the plan as it is shown. Chairs whose part has changed are rendered anew, where they changed.
    pub fn listener(&self, open: &Open) -> Result<Arc<Listener>, PageError> {
        let mut now = self.now.lock().unwrap_or_else(PoisonError::into_inner);
        let played = Arc::clone(&open.shown().played);
        match &mut *now {
            Some((of, listener)) => {
                let same = of.upgrade().is_some_and(|of| Arc::ptr_eq(&of, &played));
                if !same {
                    listener.replace(Arc::clone(&played.cue), open.performed(&played, Pool::Ears))?;
                    *of = Arc::downgrade(&played);
                }
                Ok(Arc::clone(listener))
            }
            None => {
                // One core stays with the hands: a changed cell is to be seen at once while sound is rendered ahead.
                let cores = std::thread::available_parallelism().map_or(2, std::num::NonZero::get);
                let threads = cores.saturating_sub(1).max(1);
                let work = open.performed(&played, Pool::Ears);
                let listener = Arc::new(Listener::open(Arc::clone(&played.cue), work, threads)?);
                *now = Some((Arc::downgrade(&played), Arc::clone(&listener)));
                Ok(listener)
            }
        }
    }

    /// Ends the work.
    pub fn close(&self) {
        *self.now.lock().unwrap_or_else(PoisonError::into_inner) = None;
    }
}
