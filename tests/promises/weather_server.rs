//! A server on this machine that answers as it is told and remembers what it
//! was asked: a weather service with every fault a test can want.

#![allow(clippy::unwrap_used, reason = "a test may panic and read the clock")]

use std::sync::{Arc, Mutex};
use std::time::Duration;

use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};

/// One scripted answer.
#[derive(Clone)]
pub enum Script {
    /// Status, headers, body.
    Reply(u16, Vec<(&'static str, String)>, Vec<u8>),
    /// Promises the whole body, sends half and hangs up.
    Cut(Vec<u8>),
    /// One byte of the body at a time, with a pause after each.
    Drip(Vec<u8>, Duration),
    /// A body that never ends.
    Endless,
}

impl Script {
    pub fn ok(body: impl Into<Vec<u8>>) -> Self {
        Self::Reply(200, vec![], body.into())
    }

    pub fn status(status: u16) -> Self {
        Self::Reply(status, vec![], b"<html>no</html>".to_vec())
    }

    pub fn with(self, name: &'static str, value: &str) -> Self {
        match self {
            Self::Reply(status, mut headers, body) => {
                headers.push((name, value.to_owned()));
                Self::Reply(status, headers, body)
            }
            other => other,
        }
    }
}

/// The server; it stops when the test's runtime stops.
pub struct Server {
    pub url: String,
    asked: Arc<Mutex<Vec<String>>>,
    script: Arc<Mutex<Vec<Script>>>,
}

impl Server {
    /// Answers the n-th request with the n-th script; after the last with 500.
    pub async fn start(script: Vec<Script>) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let url = format!("http://{}", listener.local_addr().unwrap());
        let asked = Arc::new(Mutex::new(Vec::new()));
        let script = Arc::new(Mutex::new(script));
        let (log, answers) = (asked.clone(), script.clone());
        tokio::spawn(async move {
            while let Ok((stream, _)) = listener.accept().await {
                let (log, answers) = (log.clone(), answers.clone());
                tokio::spawn(async move { serve(stream, &log, &answers).await });
            }
        });
        Self { url, asked, script }
    }

    /// The requests so far, head and all.
    pub fn asked(&self) -> Vec<String> {
        self.asked.lock().unwrap().clone()
    }

    pub fn then(&self, script: Script) {
        self.script.lock().unwrap().push(script);
    }
}

async fn serve(mut stream: TcpStream, log: &Mutex<Vec<String>>, script: &Mutex<Vec<Script>>) {
    let mut head = Vec::new();
    let mut byte = [0];
    while !head.ends_with(b"\r\n\r\n") {
        if stream.read_exact(&mut byte).await.is_err() {
            return;
        }
        head.push(byte[0]);
    }
    log.lock()
        .unwrap()
        .push(String::from_utf8_lossy(&head).into_owned());
    let answer = {
        let mut script = script.lock().unwrap();
        if script.is_empty() {
            Script::status(500)
        } else {
            script.remove(0)
        }
    };
    // A client that has hung up is part of some tests.
    let _ = send(&mut stream, answer).await;
}

async fn send(stream: &mut TcpStream, answer: Script) -> std::io::Result<()> {
    match answer {
        Script::Reply(status, headers, body) => {
            let mut head = format!("HTTP/1.1 {status} x\r\nconnection: close\r\n");
            if status != 304 {
                head += &format!("content-length: {}\r\n", body.len());
            }
            for (name, value) in headers {
                head += &format!("{name}: {value}\r\n");
            }
            stream.write_all(format!("{head}\r\n").as_bytes()).await?;
            if status != 304 {
                stream.write_all(&body).await?;
            }
        }
        Script::Cut(body) => {
            let head = format!("HTTP/1.1 200 x\r\ncontent-length: {}\r\n\r\n", body.len());
            stream.write_all(head.as_bytes()).await?;
            stream.write_all(&body[..body.len() / 2]).await?;
        }
        Script::Drip(body, pause) => {
            let head = format!("HTTP/1.1 200 x\r\ncontent-length: {}\r\n\r\n", body.len());
            stream.write_all(head.as_bytes()).await?;
            for byte in body {
                stream.write_all(&[byte]).await?;
                tokio::time::sleep(pause).await;
            }
        }
        Script::Endless => {
            stream
                .write_all(b"HTTP/1.1 200 x\r\nconnection: close\r\n\r\n")
                .await?;
            loop {
                stream.write_all(&[b' '; 65_536]).await?;
            }
        }
    }
    stream.shutdown().await
}
