//! Running the server: listening, draining, saying what to do.

use crate::app;
use crate::book::session;
use crate::db::{Db, Options};
use crate::kernel::Clock;
use std::net::SocketAddr;
use std::path::Path;
use tokio::net::TcpListener;

/// Opens the book and serves it until told to stop.
///
/// # Errors
/// In words for whoever started it.
pub async fn run(data: &Path, listen: SocketAddr, options: Options) -> Result<(), String> {
    let db = Db::open(data, options, Clock::system()?, app::SETTLERS).await?;
    let listener = TcpListener::bind(listen)
        .await
        .map_err(|e| format!("{listen}: {e}. Is another server there? Give another address with --listen."))?;
    let at = listener.local_addr().map_err(|e| e.to_string())?;
    tracing::info!("the book in {} is open at http://{at}; the API is described at http://{at}/api", data.display());
    if let Some(code) = session::first_run_code(&db).await.map_err(|p| p.to_string())? {
        app::say(format_args!(
            "Nobody may sign in at the pages yet. Open http://{at}/setup and give this code, once:\n\n    {code}\n"
        ))?;
    }
    let service = app::service(&db).into_make_service_with_connect_info::<SocketAddr>();
    let served = axum::serve(listener, service).with_graceful_shutdown(stop()).await;
    db.close().await;
    tracing::info!("the book is closed");
    served.map_err(|e| e.to_string())
}

async fn stop() {
    let interrupt = async {
        if let Err(e) = tokio::signal::ctrl_c().await {
            tracing::error!("cannot listen for interrupts: {e}");
            std::future::pending::<()>().await;
        }
    };
    let terminate = async {
        match tokio::signal::unix::signal(tokio::signal::unix::SignalKind::terminate()) {
            Ok(mut signal) => {
                signal.recv().await;
            }
            Err(e) => {
                tracing::error!("cannot listen for SIGTERM: {e}");
                std::future::pending::<()>().await;
            }
        }
    };
    tokio::select! {
        () = interrupt => {}
        () = terminate => {}
    }
    tracing::info!("stopping: requests under way are finished first");
}
