//! The load: requests that were written down beforehand, over connections that stay open. One thread, few calls of the
//! system for each request; the same for our service and for the limit it is held against.

use std::cell::Cell;
use std::net::SocketAddr;
use std::rc::Rc;
use std::time::{Duration, Instant};

use anyhow::{Context as _, bail, ensure};
use tokio::net::TcpStream;
use tokio::task::JoinSet;

use crate::message::{Message, Messages};

/// Requests as bytes.
pub(crate) type Requests = Rc<[Vec<u8>]>;

/// How long requests are sent.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Lasting {
    /// Until each was sent once.
    Once,
    /// Again and again, until this time has passed.
    For(Duration),
}

/// How many answers came in which time.
#[derive(Debug, Clone)]
pub(crate) struct Measured {
    pub(crate) answers: usize,
    pub(crate) took: Duration,
    /// How long each answer took, from the shortest to the longest.
    sorted: Vec<Duration>,
}

impl Measured {
    pub(crate) fn a_second(&self) -> f64 {
        self.answers as f64 / self.took.as_secs_f64()
    }

    /// The time within which that share of the answers came, in milliseconds.
    pub(crate) fn percentile_ms(&self, percent: usize) -> f64 {
        self.sorted[(self.sorted.len() - 1) * percent / 100].as_secs_f64() * 1000.0
    }
}

/// The load: where it goes to, over how many connections.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Load {
    pub(crate) to: SocketAddr,
    pub(crate) connections: usize,
}

impl Load {
    /// Sends requests and reads each answer with `read`, which must find in it what was expected. Each connection sends its
    /// next request when it has the answer to the last.
    pub(crate) async fn measure(
        self,
        requests: &Requests,
        lasting: Lasting,
        read: fn(Message<'_>) -> anyhow::Result<()>,
    ) -> anyhow::Result<Measured> {
        Ok(self.run(requests, lasting, read).await?.0)
    }

    /// Sends each request once; what `read` makes of the answers, in the order of the requests.
    pub(crate) async fn gather<T: 'static>(
        self,
        requests: &Requests,
        read: fn(Message<'_>) -> anyhow::Result<T>,
    ) -> anyhow::Result<(Vec<T>, Measured)> {
        let (measured, mut read) = self.run(requests, Lasting::Once, read).await?;
        read.sort_by_key(|(index, _)| *index);
        Ok((read.into_iter().map(|(_, read)| read).collect(), measured))
    }

    async fn run<T: 'static>(
        self,
        requests: &Requests,
        lasting: Lasting,
        read: fn(Message<'_>) -> anyhow::Result<T>,
    ) -> anyhow::Result<(Measured, Vec<(usize, T)>)> {
        let mut open = Vec::new();
        for _ in 0..self.connections {
            open.push(Messages::on(TcpStream::connect(self.to).await?));
        }
        let (next, began) = (Rc::new(Cell::new(0)), Instant::now());
        let mut sending = JoinSet::new();
        for connection in open {
            let turns = Turns { requests: requests.clone(), next: next.clone(), began, lasting };
            sending.spawn_local(turns.take(connection, read));
        }
        let (mut sorted, mut answers) = (Vec::new(), Vec::new());
        while let Some(sent) = sending.join_next().await {
            for (index, took, answer) in sent?? {
                sorted.push(took);
                answers.push((index, answer));
            }
        }
        let took = began.elapsed();
        ensure!(!sorted.is_empty(), "there was nothing to send");
        sorted.sort_unstable();
        Ok((Measured { answers: sorted.len(), took, sorted }, answers))
    }
}

/// What all connections take their next request from.
struct Turns {
    requests: Requests,
    next: Rc<Cell<usize>>,
    began: Instant,
    lasting: Lasting,
}

impl Turns {
    async fn take<T>(
        self,
        mut connection: Messages,
        read: fn(Message<'_>) -> anyhow::Result<T>,
    ) -> anyhow::Result<Vec<(usize, Duration, T)>> {
        let mut taken = Vec::new();
        while let Some(index) = self.turn() {
            let request = &self.requests[index % self.requests.len()];
            let sent = Instant::now();
            connection.send(request).await?;
            let answer = connection.next().await?.context("the server ended the connection")?;
            let took = sent.elapsed();
            let answer = read(answer).with_context(|| first_line(request))?;
            taken.push((index, took, answer));
        }
        Ok(taken)
    }

    fn turn(&self) -> Option<usize> {
        let index = self.next.get();
        let more = match self.lasting {
            Lasting::Once => index < self.requests.len(),
            Lasting::For(time) => self.began.elapsed() < time,
        };
        more.then(|| self.next.replace(index + 1))
    }
}

fn first_line(request: &[u8]) -> String {
    let line = request.split(|&byte| byte == b'\r').next().unwrap_or_default();
    String::from_utf8_lossy(line).chars().take(120).collect()
}

/// Fails unless the answer has that status; tells the answer's beginning.
pub(crate) fn expect_status(answer: Message<'_>, status: u16) -> anyhow::Result<()> {
    if answer.status()? != status {
        let told: String = String::from_utf8_lossy(answer.body).chars().take(2000).collect();
        bail!("expected {status}: {}{told}", answer.head);
    }
    Ok(())
}

/// Fails unless the answer is a page.
pub(crate) fn expect_page(answer: Message<'_>) -> anyhow::Result<()> {
    expect_status(answer, 200)
}

/// Fails unless the answer sends the browser on, as after a form.
pub(crate) fn expect_onward(answer: Message<'_>) -> anyhow::Result<()> {
    expect_status(answer, 303)
}
