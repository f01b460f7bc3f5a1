//! The automaton that counts: it reads one digit of every given per column, and remembers little in between.
use alloc::{collections::BTreeMap, vec::Vec};
use core::cmp::Ordering;

use super::{
    Choice,
    program::{Demand, Instruction, Program},
    state::State,
};
use crate::decimal::{Decimal, power_of_ten};

/// Most states that are remembered, so that a family file is read in a moment. A family that needs more is not counted.
const MAX_WAYS: usize = 100_000;

/// Where the automaton is: column and instruction as one number.
type Step = usize;

/// A node, by its place in the automaton.
type NodeId = u32;

/// Behind the last column, with all demands met.
const END: NodeId = NodeId::MAX;
/// Where no way leads on.
const DEAD: NodeId = NodeId::MAX - 1;

/// All states that can be met and lead on, with the number of ways to go on from each.
#[derive(Debug)]
pub(super) struct Automaton {
    program: Program,
    start: NodeId,
    nodes: Vec<Node>,
    /// How many ways lead on, by node.
    ways: Vec<u128>,
    edges: Vec<Edge>,
}

/// A state at a branch, where a digit is read.
#[derive(Debug)]
struct Node {
    /// Whose digit is read, and in which column.
    given: u16,
    column: u16,
    /// Its edges: the first, and the first behind them.
    edges: (u32, u32),
}

/// A digit that leads on, and where to; in the order of digits.
#[derive(Clone, Copy, Debug)]
struct Edge {
    digit: u8,
    to: NodeId,
}

impl Automaton {
    /// `None` if more than [`MAX_WAYS`] states would have to be remembered.
    pub(super) fn counted(program: Program) -> Option<Self> {
        let automaton = Self { program, start: DEAD, nodes: Vec::new(), ways: Vec::new(), edges: Vec::new() };
        let mut counting = Counting { automaton, known: BTreeMap::new() };
        let start = counting.node(0, counting.start())?;
        Some(Self { start, ..counting.automaton })
    }

    /// Whether it counts that program.
    pub(super) fn is_of(&self, program: &Program) -> bool {
        self.program == *program
    }

    pub(super) fn total(&self) -> u128 {
        self.ways_from(self.start)
    }

    fn ways_from(&self, node: NodeId) -> u128 {
        match node {
            END => 1,
            DEAD => 0,
            node => self.ways[node as usize],
        }
    }

    /// The numbers at an index: at each branch the digits are passed in order until the index falls among the ways of
    /// one of them.
    pub(super) fn numbers(&self, givens: &[Choice], mut index: u128) -> Option<Vec<Decimal>> {
        let mut units = alloc::vec![0_i128; givens.len()];
        let mut at = self.start;
        while at != END {
            let node = self.nodes.get(at as usize)?;
            let edges = &self.edges[node.edges.0 as usize..node.edges.1 as usize];
            let chosen = edges.iter().find(|edge| {
                let ways = self.ways_from(edge.to);
                let here = index < ways;
                if !here {
                    index -= ways;
                }
                here
            })?;
            units[usize::from(node.given)] +=
                i128::from(chosen.digit) * power_of_ten(node.column.into()).cast_signed();
            at = chosen.to;
        }
        self.program.as_written(givens, &units)
    }
}

/// The making of an automaton.
struct Counting {
    automaton: Automaton,
    /// All states met so far.
    known: BTreeMap<(Step, State), NodeId>,
}

impl Counting {
    fn program(&self) -> &Program {
        &self.automaton.program
    }

    fn start(&self) -> State {
        let mut state = State::default();
        for (slot, demand) in &self.program().demands {
            if let Demand::Order(allowed) | Demand::Alternative(_, allowed) = demand {
                state.set(self.program().registers + slot, u8::from(allowed.contains(&Ordering::Equal)));
            }
        }
        state
    }

    /// Goes on to the next branch, or past the last column; `None` if no way leads on from here.
    fn at_branch(&self, mut step: Step, mut state: State) -> Option<(Step, State)> {
        let program = self.program();
        let length = program.instructions.len();
        while step < length * program.columns {
            let instruction = program.instructions[step % length];
            if matches!(instruction, Instruction::Read { .. }) {
                return Some((step, state));
            }
            program.execute(instruction, step / length, &mut state)?;
            program.clear(step % length, &mut state);
            step += 1;
        }
        Some((step, state))
    }

    /// The state after reading a digit at a branch.
    fn after_reading(&self, step: Step, state: State, digit: u8) -> Option<(Step, State)> {
        let program = self.program();
        let length = program.instructions.len();
        let Instruction::Read { given, into } = program.instructions[step % length] else {
            return None;
        };
        if !program.may_read(given, step / length, digit) {
            return None;
        }
        let mut next = state;
        next.set(into, digit);
        program.clear(step % length, &mut next);
        Some((step + 1, next))
    }

    /// The node of a state, its ways counted; `None` if that is too much work.
    fn node(&mut self, step: Step, state: State) -> Option<NodeId> {
        let Some((step, state)) = self.at_branch(step, state) else {
            return Some(DEAD);
        };
        let length = self.program().instructions.len();
        if step >= length * self.program().columns {
            return Some(if self.program().accepts(state) { END } else { DEAD });
        }
        if let Some(known) = self.known.get(&(step, state)) {
            return Some(*known);
        }
        let (mut edges, mut ways) = (Vec::new(), 0);
        for digit in 0..10 {
            if let Some((next, after)) = self.after_reading(step, state, digit) {
                let to = self.node(next, after)?;
                if to != DEAD {
                    edges.push(Edge { digit, to });
                    ways += self.automaton.ways_from(to);
                }
            }
        }
        let node = if ways == 0 { DEAD } else { self.automaton.add(self.read_at(step)?, &edges, ways)? };
        self.known.insert((step, state), node);
        (self.known.len() <= MAX_WAYS).then_some(node)
    }

    /// Whose digit is read at a branch, and in which column.
    fn read_at(&self, step: Step) -> Option<(u16, u16)> {
        let length = self.program().instructions.len();
        let Instruction::Read { given, .. } = self.program().instructions[step % length] else {
            return None;
        };
        Some((u16::try_from(given).ok()?, u16::try_from(step / length).ok()?))
    }
}

impl Automaton {
    fn add(&mut self, (given, column): (u16, u16), edges: &[Edge], ways: u128) -> Option<NodeId> {
        let first = u32::try_from(self.edges.len()).ok()?;
        self.edges.extend_from_slice(edges);
        let edges = (first, u32::try_from(self.edges.len()).ok()?);
        let node = u32::try_from(self.nodes.len()).ok()?;
        self.nodes.push(Node { given, column, edges });
        self.ways.push(ways);
        Some(node)
    }
}
