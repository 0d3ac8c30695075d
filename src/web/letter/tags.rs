//! What each text is: heading, paragraph, cell. Readers by ear go by these.

use krilla::tagging::{Identifier, Node, TagGroup, TagKind, TagTree};

/// Where a text belongs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Place {
    /// Under this node of the tags.
    In(usize),
    /// Repeated or ornament: not read out.
    Ornament,
    /// The foot of a page.
    Foot,
}

/// A tree in the order of reading.
#[derive(Default)]
pub struct Tags {
    nodes: Vec<Twig>,
}

struct Twig {
    kind: TagKind,
    under: Option<usize>,
    marks: Vec<Identifier>,
}

impl Tags {
    /// Adds a node after its siblings.
    pub fn add(&mut self, under: Option<usize>, kind: impl Into<TagKind>) -> usize {
        self.nodes.push(Twig { kind: kind.into(), under, marks: Vec::new() });
        self.nodes.len() - 1
    }

    /// Says that something painted belongs to a node.
    pub fn mark(&mut self, node: usize, mark: Identifier) {
        if let Some(twig) = self.nodes.get_mut(node) {
            twig.marks.push(mark);
        }
    }

    /// The tree as the file keeps it.
    pub fn tree(self, lang: &str) -> TagTree {
        let mut tree = TagTree::new().with_lang(Some(lang.to_owned()));
        let parents: Vec<Option<usize>> = self.nodes.iter().map(|twig| twig.under).collect();
        let mut groups: Vec<Option<TagGroup>> = Vec::with_capacity(self.nodes.len());
        for twig in self.nodes {
            groups.push(Some(TagGroup::with_children(twig.kind, twig.marks.into_iter().map(Node::from).collect())));
        }
        // Children are added after their parents: going back, each is whole when it is handed up.
        let mut waiting: Vec<Vec<TagGroup>> = parents.iter().map(|_| Vec::new()).collect();
        let mut top = Vec::new();
        for at in (0..parents.len()).rev() {
            let Some(mut group) = groups.get_mut(at).and_then(Option::take) else { continue };
            let children = waiting.get_mut(at).map(std::mem::take).unwrap_or_default();
            for child in children.into_iter().rev() {
                group.push(child);
            }
            match parents.get(at).copied().flatten().and_then(|parent| waiting.get_mut(parent)) {
                Some(siblings) => siblings.push(group),
                None => top.push(group),
            }
        }
        for group in top.into_iter().rev() {
            tree.push(group);
        }
        tree
    }
}
