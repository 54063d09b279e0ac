//! The tree of what is a heading, a paragraph, a table, a figure: what a screen reader reads.

use std::num::{NonZeroU16, NonZeroU32};

use krilla::geom::Rect;
use krilla::tagging::{
    BBox, Identifier, ListNumbering, Node, TableHeaderScope, Tag, TagGroup, TagKind, TagTree,
};

/// A group of the tree.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct GroupId(usize);

/// A piece of a page that belongs to a group.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct LeafId(pub usize);

/// A link that belongs to a group.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct LinkId(pub usize);

/// What a group is.
#[derive(Clone, Debug)]
pub(crate) enum Kind {
    /// Level from 1, and the heading's text.
    Heading(u8, String),
    Paragraph,
    List,
    Item,
    ItemBody,
    Table(String),
    TableHead,
    TableBody,
    Row,
    /// Rows and columns that it spans.
    ColumnHead {
        columns: usize,
    },
    RowHead {
        rows: usize,
    },
    Cell {
        columns: usize,
    },
    /// Its alternative text.
    Figure(String),
    Contents,
    ContentsItem,
    Link,
}

#[derive(Clone, Copy, Debug)]
enum Child {
    Group(GroupId),
    Leaf(LeafId),
    Link(LinkId),
}

struct Group {
    kind: Kind,
    children: Vec<Child>,
    /// Page and edges, for figures.
    place: Option<(usize, [f32; 4])>,
}

/// The tree on its way.
#[derive(Default)]
pub(crate) struct Tags {
    groups: Vec<Group>,
    top: Vec<GroupId>,
    leaves: usize,
    links: usize,
}

impl Tags {
    /// A new group, at the top or in another.
    pub fn group(&mut self, kind: Kind, parent: Option<GroupId>) -> GroupId {
        let id = GroupId(self.groups.len());
        self.groups.push(Group {
            kind,
            children: Vec::new(),
            place: None,
        });
        match parent {
            Some(parent) => self.groups[parent.0].children.push(Child::Group(id)),
            None => self.top.push(id),
        }
        id
    }

    pub fn leaf(&mut self, group: GroupId) -> LeafId {
        let id = LeafId(self.leaves);
        self.leaves += 1;
        self.groups[group.0].children.push(Child::Leaf(id));
        id
    }

    pub fn link(&mut self, group: GroupId) -> LinkId {
        let id = LinkId(self.links);
        self.links += 1;
        self.groups[group.0].children.push(Child::Link(id));
        id
    }

    /// Says where a figure is.
    pub fn place(&mut self, group: GroupId, page: usize, bounds: [f32; 4]) {
        self.groups[group.0].place = Some((page, bounds));
    }

    pub fn leaves(&self) -> usize {
        self.leaves
    }

    pub fn links(&self) -> usize {
        self.links
    }

    /// The tree, once every leaf and link was drawn.
    pub fn tree(&self, leaves: &[Option<Identifier>], links: &[Option<Identifier>]) -> TagTree {
        let mut tree = TagTree::new();
        for group in &self.top {
            tree.push(self.build(*group, leaves, links));
        }
        tree
    }

    fn build(
        &self,
        id: GroupId,
        leaves: &[Option<Identifier>],
        links: &[Option<Identifier>],
    ) -> TagGroup {
        let group = &self.groups[id.0];
        let children = group.children.iter().filter_map(|child| match child {
            Child::Group(inner) => Some(Node::Group(self.build(*inner, leaves, links))),
            Child::Leaf(leaf) => leaves.get(leaf.0).copied().flatten().map(Node::Leaf),
            Child::Link(link) => links.get(link.0).copied().flatten().map(Node::Leaf),
        });
        TagGroup::with_children(group.tag(), children.collect())
    }
}

impl Group {
    fn tag(&self) -> TagKind {
        let span = |n: usize| u32::try_from(n).ok().and_then(NonZeroU32::new);
        let more = |n: usize| span(n).filter(|n| n.get() > 1);
        match &self.kind {
            Kind::Heading(level, title) => {
                let level = NonZeroU16::new(u16::from(*level)).unwrap_or(NonZeroU16::MIN);
                Tag::Hn(level, Some(title.clone())).into()
            }
            Kind::Paragraph => Tag::P.into(),
            Kind::List => Tag::L(ListNumbering::Disc).into(),
            Kind::Item => Tag::LI.into(),
            Kind::ItemBody => Tag::LBody.into(),
            Kind::Table(summary) => Tag::Table.with_summary(Some(summary.clone())).into(),
            Kind::TableHead => Tag::THead.into(),
            Kind::TableBody => Tag::TBody.into(),
            Kind::Row => Tag::TR.into(),
            Kind::ColumnHead { columns } => Tag::TH(TableHeaderScope::Column)
                .with_col_span(more(*columns))
                .into(),
            Kind::RowHead { rows } => Tag::TH(TableHeaderScope::Row)
                .with_row_span(more(*rows))
                .into(),
            Kind::Cell { columns } => Tag::TD.with_col_span(more(*columns)).into(),
            Kind::Figure(alt) => {
                let place = self.place.and_then(|(page, [l, t, r, b])| {
                    Rect::from_ltrb(l, t, r, b).map(|rect| BBox::new(page, rect))
                });
                Tag::Figure(Some(alt.clone())).with_bbox(place).into()
            }
            Kind::Contents => Tag::TOC.into(),
            Kind::ContentsItem => Tag::TOCI.into(),
            Kind::Link => Tag::Link.into(),
        }
    }
}
