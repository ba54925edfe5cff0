package allometry

import "strings"

// name is a botanical name in lower case, without hybrid sign, cultivar, ranks and authors. The parts that are not
// there are empty.
type name struct{ genus, epithet, below string }

// key is genus, epithet and the epithet below the species, separated by spaces.
func (n name) key() string {
	if n.below == "" {
		return n.plain()
	}
	return n.plain() + " " + n.below
}

// plain is genus and epithet.
func (n name) plain() string {
	if n.epithet == "" {
		return n.genus
	}
	return n.genus + " " + n.epithet
}

// accepted replaces a synonym or a common misspelling by the name the source uses.
func (n name) accepted() name {
	if g := genusSynonyms[n.genus]; g != "" {
		n.genus = g
	}
	for _, key := range [...]string{n.key(), n.plain()} {
		if s := synonyms[key]; s != "" {
			parts := strings.Fields(s)
			n = name{genus: parts[0], epithet: parts[1]}
			if len(parts) > 2 {
				n.below = parts[2]
			}
			return n
		}
	}
	return n
}

// rank says whether a word announces an epithet below the species.
func rank(word string) bool {
	switch word {
	case "var.", "var", "subsp.", "subsp", "ssp.", "ssp", "f.", "fo.", "forma", "subvar.":
		return true
	}
	return false
}

// unnamed says whether a word in the epithet's place means that the species is not known.
func unnamed(word string) bool {
	switch word {
	case "sp", "spp", "species", "hybrid", "hybrids", "cultivar", "cultivars", "cv", "cvs", "unknown":
		return true
	}
	return strings.HasSuffix(word, ".") // "sp.", or an author's abbreviation right after the genus
}

// parseName takes a botanical name apart.
func parseName(text string) name {
	text = strings.ToLower(cutCultivar(text))
	text = strings.ReplaceAll(text, "×", " ")
	words := strings.Fields(text)
	kept := words[:0]
	for _, w := range words {
		if w = strings.Trim(w, ",;()[]"); w != "" && w != "x" {
			kept = append(kept, w)
		}
	}
	var n name
	if len(kept) > 0 {
		n.genus = kept[0]
	}
	if len(kept) < 2 || unnamed(kept[1]) || rank(kept[1]) {
		return n
	}
	n.epithet = kept[1]
	if len(kept) > 2 {
		n.below = kept[2] // without a rank this may be an author: then the name is looked up without it
	}
	for i := 2; i+1 < len(kept); i++ {
		if rank(kept[i]) {
			n.below = kept[i+1]
			break
		}
	}
	return n
}

// cutCultivar drops a cultivar name in quotation marks with all that follows.
func cutCultivar(text string) string {
	if i := strings.IndexAny(text, "'\"‘’“”`"); i >= 0 {
		return text[:i]
	}
	return text
}
