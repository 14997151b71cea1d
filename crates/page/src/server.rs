//! The server: loopback alone, one start, one token.

use crate::error::PageError;
use crate::guard;
use crate::recent::Recent;
use crate::routes;
use crate::state::House;
use axum::Router;
use axum::extract::DefaultBodyLimit;
use std::net::Ipv4Addr;
use std::path::PathBuf;
use std::sync::Arc;

/// How to serve.
#[derive(Clone, Debug, Default)]
pub struct Options {
    /// A port of the user's choice; any free one if 0.
    pub port: u16,
    /// Where cues that are made on the page are put.
    pub home: PathBuf,
    /// The file that remembers the cues opened lately.
    pub recent: Option<PathBuf>,
    /// The cue to open first.
    pub cue: Option<PathBuf>,
}

/// A server that listens already.
pub struct Server {
    house: Arc<House>,
    listener: std::net::TcpListener,
    address: String,
}

impl Server {
    /// Listens on 127.0.0.1 and opens the cue.
    pub fn start(options: &Options) -> Result<Self, PageError> {
        let port = options.port;
        let trouble = |error| PageError::Port { port, error };
        let listener = std::net::TcpListener::bind((Ipv4Addr::LOCALHOST, port)).map_err(trouble)?;
        listener.set_nonblocking(true).map_err(trouble)?;
        let port = listener.local_addr().map_err(trouble)?.port();
        let recent = Recent::new(options.recent.clone());
        let house = Arc::new(House::new(guard::token(), port, options.home.clone(), recent));
        let mut address = format!("http://127.0.0.1:{port}/?key={}", house.token);
        if let Some(path) = &options.cue {
            let open = house.open(path)?;
            address.push_str(&format!("&cue={}", open.id));
        }
        Ok(Self { house, listener, address })
    }

    /// The address to open; it carries the token.
    pub fn address(&self) -> &str {
        &self.address
    }

    /// The requests, answered; without a socket for tests.
    pub fn router(&self) -> Router {
        router(&self.house)
    }

    /// The token and the port, for tests.
    pub fn token(&self) -> (&str, u16) {
        (&self.house.token, self.house.port)
    }

    /// Serves until `stop` resolves or the process is interrupted.
    pub fn serve(self) -> Result<(), PageError> {
        let port = self.house.port;
        let trouble = |error| PageError::Port { port, error };
        let runtime = tokio::runtime::Builder::new_multi_thread()
            .worker_threads(2)
            .enable_all()
            .build()
            .map_err(trouble)?;
        let result = runtime.block_on(async {
            let listener = tokio::net::TcpListener::from_std(self.listener)?;
            let stop = async {
                let _ = tokio::signal::ctrl_c().await;
            };
            tokio::select! {
                served = axum::serve(listener, router(&self.house)) => served,
                () = stop => Ok(()),
            }
        });
        self.house.close();
        runtime.shutdown_background();
        result.map_err(trouble)
    }
}

fn router(house: &Arc<House>) -> Router {
    routes::all()
        .layer(DefaultBodyLimit::max(guard::LARGEST))
        .layer(axum::middleware::from_fn_with_state(Arc::clone(house), guard::guard))
        .with_state(Arc::clone(house))
}
