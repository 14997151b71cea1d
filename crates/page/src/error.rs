//! Why a request is not answered with what it asked for.

use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use ripieno_cue::CueError;

/// What went wrong, and whose business it is.
#[derive(Debug, thiserror::Error)]
pub enum PageError {
    /// The request does not come from the page.
    #[error("{0}")]
    Stranger(&'static str),
    /// There is no such thing.
    #[error("{0}")]
    Missing(String),
    /// What was asked for cannot be meant.
    #[error("{0}")]
    Asked(String),
    /// The cue says no.
    #[error(transparent)]
    Cue(#[from] CueError),
    /// The server cannot be started.
    #[error("the page cannot be served on 127.0.0.1:{port}: {error}")]
    Port {
        /// The port asked for.
        port: u16,
        /// What the machine said.
        error: std::io::Error,
    },
}

impl PageError {
    /// Is it the machine's trouble, and not the input's?
    pub fn is_machine(&self) -> bool {
        match self {
            Self::Cue(error) => error.is_machine(),
            Self::Port { .. } => true,
            _ => false,
        }
    }
}

impl IntoResponse for PageError {
    fn into_response(self) -> Response {
        let status = match &self {
            Self::Stranger(_) => StatusCode::FORBIDDEN,
            Self::Missing(_) => StatusCode::NOT_FOUND,
            Self::Asked(_) => StatusCode::BAD_REQUEST,
            Self::Cue(CueError::Conflict { .. }) => StatusCode::CONFLICT,
            Self::Cue(error) if error.is_machine() => StatusCode::INTERNAL_SERVER_ERROR,
            Self::Cue(_) => StatusCode::UNPROCESSABLE_ENTITY,
            Self::Port { .. } => StatusCode::INTERNAL_SERVER_ERROR,
        };
        let kind = [(header::CONTENT_TYPE, "text/plain; charset=utf-8")];
        (status, kind, self.to_string()).into_response()
    }
}
