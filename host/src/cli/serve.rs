//! `cardwright serve`: the daemon, until it is interrupted.

use anyhow::Result;
use tokio::sync::oneshot;

use super::Common;
use super::screen::{complain, out};
use crate::daemon;

/// Runs the daemon.
pub(super) fn run(common: &Common) -> Result<u8> {
    let data = common.data_dir()?;
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()?;
    let json = common.json;
    let served = runtime.block_on(async {
        let (stop, stopped) = oneshot::channel();
        tokio::spawn(async move {
            interrupted().await;
            let _ = stop.send(());
        });
        let ready = || {
            if json {
                out(&serde_json::json!({ "event": "ready", "data": data }).to_string());
            } else {
                out(&format!("serving {}; interrupt to stop", data.display()));
            }
        };
        daemon::serve(&data, ready, stopped).await
    });
    match served {
        Ok(()) => {
            if json {
                out(&serde_json::json!({ "event": "summary", "exit": 0 }).to_string());
            }
            Ok(0)
        }
        Err(error) => {
            complain(&error.to_string(), json);
            Ok(2)
        }
    }
}

/// Waits for an interrupt or a request to terminate.
pub(super) async fn interrupted() {
    use tokio::signal::unix::{SignalKind, signal};
    let Ok(mut terminate) = signal(SignalKind::terminate()) else {
        let _ = tokio::signal::ctrl_c().await;
        return;
    };
    tokio::select! {
        _ = tokio::signal::ctrl_c() => {}
        _ = terminate.recv() => {}
    }
}
