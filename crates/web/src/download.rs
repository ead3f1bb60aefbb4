//! Files that are handed out piece by piece.

use axum::body::{Body, Bytes};
use http_body_util::channel::Channel;
use tokio::fs::File;
use tokio::io::AsyncReadExt as _;

/// Bytes read at once.
const PIECE: usize = 256 * 1024;

/// A body that reads a file as it is sent.
pub(crate) fn file_body(file: std::fs::File) -> Body {
    let mut file = File::from_std(file);
    let (mut sender, body) = Channel::<Bytes, std::io::Error>::new(2);
    tokio::spawn(async move {
        loop {
            let mut piece = vec![0; PIECE];
            match file.read(&mut piece).await {
                Ok(0) => break,
                Ok(read) => {
                    piece.truncate(read);
                    // Whoever asked may have gone away.
                    if sender.send_data(Bytes::from(piece)).await.is_err() {
                        break;
                    }
                }
                Err(error) => {
                    sender.abort(error);
                    break;
                }
            }
        }
    });
    Body::new(body)
}
