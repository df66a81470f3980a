//! What waits to be read: a few messages per topic, taken in turn, so that a
//! flood on one topic neither fills the memory nor hides another topic.
//!
//! On a crowded topic what cannot be read goes first: junk without a pause
//! hides nothing that a device says.

use std::collections::{BTreeMap, VecDeque};

use super::settings::{Legible, Subscription};
use super::status::DownReason;
use crate::valve::Moment;

/// Messages of one topic that may wait.
const PER_TOPIC: usize = 8;
/// The largest payload that is kept [bytes]; no report of a device is larger.
const LARGEST_KEPT: usize = 16 * 1024;
/// Payloads that may wait altogether [bytes].
const MOST_BYTES: usize = 4 * 1024 * 1024;

/// A message that came in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Message {
    /// Index of its subscription.
    pub subscription: usize,
    /// Its payload, as it came: not to be trusted.
    pub payload: Vec<u8>,
    /// Whether the broker had it stored: then it tells nothing of now.
    pub stored: bool,
    /// When it came.
    pub received: Moment,
}

/// What the reader of the inbox is told.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Arrival {
    /// The link is up. Everything sent before may be lost.
    Up,
    /// The link is down, and why.
    Down(DownReason),
    /// A message.
    Message(Message),
}

/// What waits to be read.
#[derive(Debug, Default)]
pub struct Inbox {
    topics: BTreeMap<String, usize>,
    queues: Vec<VecDeque<Waiting>>,
    /// Topics with messages, each once, in turn.
    turns: VecDeque<usize>,
    /// At most one `Down` followed by one `Up`.
    news: VecDeque<Arrival>,
    bytes: usize,
    legible: Legible,
    /// What was counted.
    pub(super) counted: Counted,
}

/// A message, and whether it can be read, once somebody has looked.
#[derive(Debug)]
struct Waiting {
    message: Message,
    is_legible: Option<bool>,
}

impl Waiting {
    /// Looks at most once.
    fn can_be_read(&mut self, legible: &Legible) -> bool {
        let Message {
            subscription,
            payload,
            ..
        } = &self.message;
        *self
            .is_legible
            .get_or_insert_with(|| legible.is_so(*subscription, payload))
    }
}

/// What was counted of messages.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct Counted {
    pub(super) received: u64,
    pub(super) crowded_out: u64,
    pub(super) oversize: u64,
    pub(super) unasked: u64,
}

impl Inbox {
    /// An empty inbox for these topics.
    #[must_use]
    pub fn new(subscriptions: &[Subscription], legible: Legible) -> Self {
        let topics = subscriptions.iter().enumerate();
        Self {
            topics: topics
                .map(|(index, subscription)| (subscription.topic.clone(), index))
                .collect(),
            queues: subscriptions.iter().map(|_| VecDeque::new()).collect(),
            legible,
            ..Self::default()
        }
    }

    /// Takes a message in. When its topic is crowded the oldest of it that
    /// cannot be read goes, or the oldest.
    pub fn push(&mut self, topic: &str, payload: &[u8], (stored, received): (bool, Moment)) {
        self.counted.received += 1;
        let Some(&subscription) = self.topics.get(topic) else {
            self.counted.unasked += 1;
            return;
        };
        if payload.len() > LARGEST_KEPT {
            self.counted.oversize += 1;
            return;
        }
        let bytes = payload.len();
        let queue = &mut self.queues[subscription];
        // A copy: the library's bytes would keep its whole read buffer.
        let message = Message {
            subscription,
            payload: payload.to_vec(),
            stored,
            received,
        };
        queue.push_back(Waiting {
            message,
            is_legible: None,
        });
        self.bytes += bytes;
        while queue.len() > PER_TOPIC || self.bytes > MOST_BYTES {
            let mut waiting = queue.iter_mut();
            let junk = waiting.position(|waiting| !waiting.can_be_read(&self.legible));
            let Some(gone) = queue.remove(junk.unwrap_or(0)) else {
                break;
            };
            self.counted.crowded_out += 1;
            self.bytes -= gone.message.payload.len();
        }
        if !queue.is_empty() && !self.turns.contains(&subscription) {
            self.turns.push_back(subscription);
        }
    }

    /// The link is up.
    pub fn up(&mut self) {
        self.news.push_back(Arrival::Up);
    }

    /// The link is down. What its connection brought is forgotten: it is
    /// from before, and the state will be asked for again.
    pub fn down(&mut self, reason: DownReason) {
        for queue in &mut self.queues {
            queue.clear();
        }
        self.turns.clear();
        self.bytes = 0;
        self.news.clear();
        self.news.push_back(Arrival::Down(reason));
    }

    /// The next thing to tell: news of the link first, then a message of the
    /// topic whose turn it is.
    pub fn pop(&mut self) -> Option<Arrival> {
        if let Some(news) = self.news.pop_front() {
            return Some(news);
        }
        // A topic may have lost its turn's message to the bound on bytes.
        let message = loop {
            let topic = self.turns.pop_front()?;
            let queue = &mut self.queues[topic];
            let Some(waiting) = queue.pop_front() else {
                continue;
            };
            if !queue.is_empty() {
                self.turns.push_back(topic);
            }
            break waiting.message;
        };
        self.bytes -= message.payload.len();
        Some(Arrival::Message(message))
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;
    use std::sync::atomic::{AtomicUsize, Ordering};

    use super::*;

    fn inbox(topics: usize) -> Inbox {
        let topics: Vec<_> = (0..topics)
            .map(|index| Subscription {
                topic: format!("bed/{index}"),
                needed: true,
            })
            .collect();
        Inbox::new(&topics, Legible::default())
    }

    const LIVE: (bool, Moment) = (false, Moment::from_millis(7));

    fn texts(inbox: &mut Inbox) -> Vec<String> {
        let messages = std::iter::from_fn(|| inbox.pop());
        messages
            .filter_map(|arrival| match arrival {
                Arrival::Message(message) => Some(String::from_utf8(message.payload).unwrap()),
                _ => None,
            })
            .collect()
    }

    #[test]
    fn a_flood_on_one_topic_hides_no_other_and_keeps_its_latest() {
        let mut inbox = inbox(2);
        for n in 0..100_000 {
            inbox.push("bed/0", n.to_string().as_bytes(), LIVE);
        }
        inbox.push("bed/1", b"closed", LIVE);
        let texts = texts(&mut inbox);
        assert_eq!(texts.len(), 9);
        assert_eq!(texts[1], "closed");
        assert_eq!(texts.last().unwrap(), "99999");
        assert_eq!(inbox.counted.crowded_out, 100_000 - 8);
    }

    #[test]
    fn junk_on_a_topic_hides_nothing_that_can_be_read_and_is_looked_at_once() {
        let looks = Arc::new(AtomicUsize::new(0));
        let count = Arc::clone(&looks);
        let topics = [Subscription {
            topic: "bed/0".to_owned(),
            needed: true,
        }];
        let legible = Legible::by(move |_, payload| {
            count.fetch_add(1, Ordering::Relaxed);
            payload.starts_with(b"O")
        });
        let mut inbox = Inbox::new(&topics, legible);
        let junk = |inbox: &mut Inbox, texts: std::ops::Range<u32>| {
            for n in texts {
                inbox.push("bed/0", n.to_string().as_bytes(), LIVE);
            }
        };
        junk(&mut inbox, 0..1000);
        inbox.push("bed/0", b"ON", LIVE);
        junk(&mut inbox, 1000..2000);
        inbox.push("bed/0", b"OFF", LIVE);
        junk(&mut inbox, 2000..3000);
        assert!(looks.load(Ordering::Relaxed) <= 3002);
        let left = ["ON", "OFF", "2994", "2995", "2996", "2997", "2998", "2999"];
        assert_eq!(texts(&mut inbox), left);
        // Of what can be read the latest stay.
        for n in 0..20 {
            inbox.push("bed/0", format!("O{n}").as_bytes(), LIVE);
            junk(&mut inbox, 0..100);
        }
        let left: Vec<String> = (12..20).map(|n| format!("O{n}")).collect();
        assert_eq!(texts(&mut inbox), left);
    }

    #[test]
    fn a_thousand_topics_of_large_messages_stay_within_the_bound() {
        let mut inbox = inbox(1000);
        let large = vec![b'x'; LARGEST_KEPT];
        for _ in 0..10 {
            for topic in 0..1000 {
                inbox.push(&format!("bed/{topic}"), &large, LIVE);
            }
        }
        assert!(inbox.bytes <= MOST_BYTES);
        let kept = inbox.queues.iter().flatten();
        let kept: usize = kept.map(|w| w.message.payload.len()).sum();
        assert_eq!(kept, inbox.bytes);
        while inbox.pop().is_some() {}
        assert_eq!(inbox.bytes, 0);
        inbox.push("bed/1", b"closed", LIVE);
        assert_eq!(texts(&mut inbox), ["closed"]);
    }

    #[test]
    fn what_is_too_large_or_unasked_is_counted_and_dropped() {
        let mut inbox = inbox(1);
        inbox.push("bed/0", &vec![0; LARGEST_KEPT + 1], LIVE);
        inbox.push("elsewhere", b"on", LIVE);
        assert_eq!(inbox.pop(), None);
        assert_eq!((inbox.counted.oversize, inbox.counted.unasked), (1, 1));
    }

    #[test]
    fn a_lost_connection_takes_its_messages_with_it_and_is_told_first() {
        let mut inbox = inbox(1);
        inbox.up();
        inbox.push("bed/0", b"open", LIVE);
        inbox.down(DownReason::Closed);
        inbox.up();
        inbox.push("bed/0", b"closed", LIVE);
        assert_eq!(inbox.pop(), Some(Arrival::Down(DownReason::Closed)));
        assert_eq!(inbox.pop(), Some(Arrival::Up));
        assert_eq!(texts(&mut inbox), ["closed"]);
    }

    #[test]
    fn a_link_that_flaps_unread_fills_nothing() {
        let mut inbox = inbox(1);
        for _ in 0..10_000 {
            inbox.up();
            inbox.down(DownReason::Closed);
        }
        inbox.up();
        assert_eq!(inbox.news.len(), 2);
    }
}
