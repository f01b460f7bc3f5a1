//! Work on several threads whose results come in the order in which the work was given out, so that what is made of them is the
//! same on any number of threads.
use std::{
    collections::VecDeque,
    num::NonZeroUsize,
    ops::ControlFlow,
    sync::{
        Mutex,
        mpsc::{self, Receiver, SyncSender},
    },
    thread,
};

/// How many pieces of work there are at most for each thread: in work, or done and not yet taken. They bound the memory.
const AHEAD: usize = 2;

/// Takes pieces of work from `feed`, has `work` done on them, each thread with a state of its own, and gives the results to `done`
/// in order. Ends with the first failure of `done`, or with that of `feed`.
///
/// # Errors
/// As told.
pub(crate) fn in_order<T: Send, R: Send, S, E>(
    threads: NonZeroUsize,
    state: impl Fn() -> S + Sync,
    work: impl Fn(&mut S, T) -> R + Sync,
    feed: impl FnOnce(&mut dyn FnMut(T) -> ControlFlow<()>) -> Result<(), E>,
    mut done: impl FnMut(R) -> Result<(), E>,
) -> Result<(), E> {
    let mut failed = None;
    let mut done = |result: R| match done(result) {
        Ok(()) => ControlFlow::Continue(()),
        Err(error) => {
            failed = Some(error);
            ControlFlow::Break(())
        }
    };
    let fed = if threads.get() == 1 {
        let mut state = state();
        feed(&mut |piece| done(work(&mut state, piece)))
    } else {
        on_threads(threads.get(), &state, &work, feed, &mut done)
    };
    match failed {
        Some(error) => Err(error),
        None => fed,
    }
}

/// A piece of work, and where its result is waited for.
type Task<T, R> = (T, SyncSender<R>);

fn on_threads<T: Send, R: Send, S, E>(
    threads: usize,
    state: &(impl Fn() -> S + Sync),
    work: &(impl Fn(&mut S, T) -> R + Sync),
    feed: impl FnOnce(&mut dyn FnMut(T) -> ControlFlow<()>) -> Result<(), E>,
    done: &mut dyn FnMut(R) -> ControlFlow<()>,
) -> Result<(), E> {
    let (give, tasks) = mpsc::sync_channel::<Task<T, R>>(AHEAD * threads);
    let tasks = Mutex::new(tasks);
    thread::scope(|scope| {
        for _ in 0..threads {
            scope.spawn(|| {
                let mut state = state();
                while let Some((piece, result)) = next(&tasks) {
                    // Nobody waits any more once something has failed.
                    let _ = result.send(work(&mut state, piece));
                }
            });
        }
        let mut waiting: VecDeque<Receiver<R>> = VecDeque::new();
        let mut ended = ControlFlow::Continue(());
        let fed = feed(&mut |piece| {
            if waiting.len() == AHEAD * threads {
                ended = take(&mut waiting, done);
                ended?;
            }
            let (result, wait) = mpsc::sync_channel(1);
            waiting.push_back(wait);
            // There are no tasks without threads; one that panicked ends the scope.
            if give.send((piece, result)).is_ok() {
                ControlFlow::Continue(())
            } else {
                ControlFlow::Break(())
            }
        });
        drop(give);
        if fed.is_ok() && ended.is_continue() {
            while !waiting.is_empty() && take(&mut waiting, done).is_continue() {}
        }
        fed
    })
}

/// The next piece of work; none once all is given out.
fn next<T, R>(tasks: &Mutex<Receiver<Task<T, R>>>) -> Option<Task<T, R>> {
    tasks.lock().ok()?.recv().ok()
}

/// Waits for the oldest result.
fn take<R>(
    waiting: &mut VecDeque<Receiver<R>>,
    done: &mut dyn FnMut(R) -> ControlFlow<()>,
) -> ControlFlow<()> {
    match waiting.pop_front().map(|wait| wait.recv()) {
        Some(Ok(result)) => done(result),
        // A thread that panicked has no result; the end of the scope tells.
        Some(Err(_)) | None => ControlFlow::Break(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(threads: usize, fail_at: u64) -> (Vec<u64>, Result<(), u64>) {
        let mut results = Vec::new();
        let ended = in_order(
            NonZeroUsize::new(threads).unwrap(),
            || 0_u64,
            |count, piece: u64| {
                *count += 1;
                // Later ones are quicker.
                (0..(1_000 - piece) * 20).fold(piece, |sum, step| std::hint::black_box(sum ^ step));
                piece * piece
            },
            |give| {
                let _ = (0..1_000).try_for_each(give);
                Ok(())
            },
            |result| {
                results.push(result);
                if result == fail_at * fail_at { Err(fail_at) } else { Ok(()) }
            },
        );
        (results, ended)
    }

    #[test]
    fn results_come_in_order_on_any_number_of_threads() {
        for threads in [1, 2, 7] {
            let (results, ended) = run(threads, 5_000);
            assert_eq!(results, (0..1_000).map(|piece| piece * piece).collect::<Vec<u64>>(), "{threads}");
            assert_eq!(ended, Ok(()));
        }
    }

    #[test]
    fn nothing_is_taken_after_a_failure() {
        for threads in [1, 3] {
            let (results, ended) = run(threads, 400);
            assert_eq!((results.len(), ended), (401, Err(400)), "{threads}");
        }
    }

    #[test]
    fn a_failure_of_the_feed_is_told() {
        let ended = in_order(
            NonZeroUsize::new(2).unwrap(),
            || (),
            |(), piece: u8| piece,
            |give| {
                let _ = give(1);
                Err("no more")
            },
            |_| Ok(()),
        );
        assert_eq!(ended, Err("no more"));
    }
}
