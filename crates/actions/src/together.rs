//! Those who come at the same time are served together: a transaction for all who wait takes little longer than one for
//! one of them, and waits for the disk once.

use std::collections::HashMap;
use std::fmt;
use std::hash::Hash;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use tokio::sync::oneshot;

/// So many are served at once at most: as many as a batch may hold.
const AT_ONCE: usize = 500;

type Waiting<Q, A> = Vec<(Q, oneshot::Sender<A>)>;

/// Lines by their keys and numbers.
type ByKey<K, Q, A> = HashMap<(K, usize), Waiting<Q, A>>;

/// Lines of those who wait, some to a key.
pub(crate) struct Lines<K, Q, A>(Arc<Mutex<ByKey<K, Q, A>>>);

impl<K, Q, A> Lines<K, Q, A>
where
    K: Clone + Eq + Hash + Send + 'static,
    Q: Send + 'static,
    A: Send + 'static,
{
    /// Waits in the shortest of a key's lines until served. The first in a line has it served, by a task of its own, since
    /// whoever waits may go away; those who come meanwhile are served next, so that nobody is told what was so before
    /// they asked. Nothing when those served together could not be: then each sees for themselves.
    pub(crate) async fn wait<F>(
        &self,
        key: K,
        most_lines: usize,
        question: Q,
        serve: impl Fn(Vec<Q>) -> F + Send + 'static,
    ) -> Option<A>
    where
        F: Future<Output = Option<Vec<A>>> + Send + 'static,
    {
        let (tell, told) = oneshot::channel();
        if let Some(key) = self.join(key, most_lines, question, tell) {
            tokio::spawn(work_off(Line { lines: self.clone(), key, is_over: false }, serve));
        }
        told.await.ok()
    }

    /// The line, where it is new and wants somebody who serves it.
    fn join(&self, key: K, most_lines: usize, question: Q, tell: oneshot::Sender<A>) -> Option<(K, usize)> {
        let mut lines = self.lock();
        let length = |line: &usize| lines.get(&(key.clone(), *line)).map(|waiting| waiting.len() + 1);
        let line = (0..most_lines).min_by_key(length).unwrap_or_default();
        let key = (key, line);
        let is_new = !lines.contains_key(&key);
        lines.entry(key.clone()).or_default().push((question, tell));
        is_new.then_some(key)
    }
}

impl<K, Q, A> Lines<K, Q, A> {
    fn lock(&self) -> MutexGuard<'_, ByKey<K, Q, A>> {
        // Nothing is done under the lock that could leave a line half way.
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// A line that is being served. Where that ends before its time, those who wait are let go.
struct Line<K: Eq + Hash, Q, A> {
    lines: Lines<K, Q, A>,
    key: (K, usize),
    is_over: bool,
}

impl<K: Eq + Hash, Q, A> Line<K, Q, A> {
    fn next(&mut self) -> Option<Waiting<Q, A>> {
        let mut lines = self.lines.lock();
        let waiting = lines.get_mut(&self.key)?;
        if waiting.is_empty() {
            lines.remove(&self.key);
            self.is_over = true;
            return None;
        }
        Some(waiting.drain(..waiting.len().min(AT_ONCE)).collect())
    }
}

impl<K: Eq + Hash, Q, A> Drop for Line<K, Q, A> {
    fn drop(&mut self) {
        if !self.is_over {
            self.lines.lock().remove(&self.key);
        }
    }
}

async fn work_off<K, Q, A, F>(mut line: Line<K, Q, A>, serve: impl Fn(Vec<Q>) -> F)
where
    K: Eq + Hash,
    F: Future<Output = Option<Vec<A>>>,
{
    while let Some(waiting) = line.next() {
        let (questions, tells): (Vec<Q>, Vec<oneshot::Sender<A>>) = waiting.into_iter().unzip();
        for (answer, tell) in serve(questions).await.into_iter().flatten().zip(tells) {
            // Whoever went away needs no answer.
            drop(tell.send(answer));
        }
    }
}

impl<K, Q, A> Clone for Lines<K, Q, A> {
    fn clone(&self) -> Self {
        Self(self.0.clone())
    }
}

impl<K, Q, A> Default for Lines<K, Q, A> {
    fn default() -> Self {
        Self(Arc::default())
    }
}

impl<K, Q, A> fmt::Debug for Lines<K, Q, A> {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "{} lines", self.lock().len())
    }
}

#[cfg(test)]
mod tests {
    use tokio::sync::Semaphore;

    use super::*;

    /// Sends the questions 1, 2 and 3 while 0 is being served, and answers what each was told.
    async fn served(
        serve: impl Fn(Vec<u32>) -> Option<Vec<(u32, usize)>> + Clone + Send + Sync + 'static,
    ) -> Vec<Option<(u32, usize)>> {
        let (lines, go): (Lines<(), u32, (u32, usize)>, _) = (Lines::default(), Arc::new(Semaphore::new(0)));
        let ask = |question| {
            let (lines, go, serve) = (lines.clone(), go.clone(), serve.clone());
            async move {
                let serve = move |questions| {
                    let (go, serve) = (go.clone(), serve.clone());
                    async move {
                        go.acquire().await.unwrap().forget();
                        serve(questions)
                    }
                };
                lines.wait((), 1, question, serve).await
            }
        };
        let first = tokio::spawn(ask(0));
        tokio::task::yield_now().await;
        tokio::task::yield_now().await;
        let others: Vec<_> = (1..4).map(|question| tokio::spawn(ask(question))).collect();
        tokio::task::yield_now().await;
        go.add_permits(2);
        let mut told = vec![first.await.unwrap()];
        for other in others {
            told.push(other.await.unwrap());
        }
        assert!(lines.lock().is_empty(), "nobody is left in a line");
        told
    }

    #[tokio::test]
    async fn those_who_come_meanwhile_are_served_together_each_with_an_answer() {
        let told = served(|questions| {
            let together = questions.len();
            Some(questions.into_iter().map(|question| (question * 10, together)).collect())
        });
        assert_eq!(told.await, [Some((0, 1)), Some((10, 3)), Some((20, 3)), Some((30, 3))]);
    }

    #[tokio::test]
    async fn those_who_could_not_be_served_together_are_told_so() {
        assert_eq!(served(|_| None).await, [None; 4]);
    }

    #[tokio::test]
    async fn whoever_serves_and_falls_leaves_nobody_waiting() {
        let lines: Lines<(), u32, u32> = Lines::default();
        let fall = |_| async { panic!("a fault of ours") };
        assert_eq!(lines.wait((), 1, 1, fall).await, None);
        assert_eq!(lines.wait((), 1, 2, |questions| async { Some(questions) }).await, Some(2));
    }

    #[test]
    fn whoever_comes_takes_a_line_of_their_own_and_then_the_shortest() {
        let lines: Lines<u8, u32, u32> = Lines::default();
        let join = |key| lines.join(key, 2, 0, oneshot::channel().0).map(|(_, line)| line);
        assert_eq!([join(7), join(7), join(7), join(7)], [Some(0), Some(1), None, None]);
        assert_eq!(join(8), Some(0));
        let length = |line| lines.lock()[&(7, line)].len();
        assert_eq!((length(0), length(1)), (2, 2));
    }
}
