// Package paper renders what is printed: the crew sheet of a package of jobs, the
// bid sheet of the same work, and the report on a site. It is pure: values come
// in, bytes go out, and the same values give the same bytes. Times are given,
// never read. What comes from data goes through html/template's escaping or is
// escaped as XML.
//
// Every sheet says that it rests on records, when and by what assumptions, and
// that a qualified arborist decides at the tree.
package paper
