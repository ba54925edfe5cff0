package question

import (
	"context"
	"regexp"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/filter"
)

// SavedStore keeps questions.
type SavedStore interface {
	// FindQuestions lists a client's saved questions by name.
	FindQuestions(ctx context.Context, client inventory.ClientID) ([]inventory.SavedQuestion, error)
	// SaveQuestion keeps a question in the place of any other of its name.
	SaveQuestion(ctx context.Context, client inventory.ClientID, q inventory.SavedQuestion) error
	// ChangeQuestion keeps what change makes of the question of a name, which is nil
	// where there is none, or forgets it where change returns nil; nobody else comes
	// in between. It returns the question as it is kept.
	ChangeQuestion(ctx context.Context, client inventory.ClientID, name string, change func(now *inventory.SavedQuestion) (*inventory.SavedQuestion, error)) (*inventory.SavedQuestion, error)
	// DropQuestion fails with NotFound where there is none of the name.
	DropQuestion(ctx context.Context, client inventory.ClientID, name string) error
}

var questionName = regexp.MustCompile(`^[a-z0-9][a-z0-9_-]{0,63}$`)

// CheckQuestion reports what keeps a question from being saved.
func CheckQuestion(q *inventory.SavedQuestion) error {
	if !questionName.MatchString(q.Name) {
		return inventory.Errorf(inventory.Invalid, "name %.60q of a question: expected up to 64 of a-z, 0-9, - and _, such as topped-over-parking", q.Name)
	}
	if _, err := inventory.GetCollection(q.Name); err == nil {
		return inventory.Errorf(inventory.Conflict, "name %q of a question: a collection of the service has it", q.Name)
	}
	if len(q.Title) > 200 {
		return inventory.Errorf(inventory.Invalid, "title of the question %s: %d bytes long: 200 are enough", q.Name, len(q.Title))
	}
	_, err := collectionOf(q)
	return err
}

// collectionOf is the question as a collection.
func collectionOf(q *inventory.SavedQuestion) (inventory.Collection, error) {
	of, err := inventory.GetCollection(q.Collection)
	if err != nil {
		return inventory.Collection{}, err
	}
	e, err := filter.ParseText(q.Filter)
	if err == nil {
		err = filter.Check(e, of)
	}
	if err != nil {
		return inventory.Collection{}, inventory.Errorf(inventory.Invalid, "filter of the question %s: %w", q.Name, err)
	}
	c := *of
	c.ID, c.Of, c.Asks, c.Editable = q.Name, of.ID, e, false
	c.Title = q.Title
	if c.Title == "" {
		c.Title = q.Name
	}
	c.Note = "Saved question: " + of.Title + " for which " + q.Filter + " holds."
	return c, nil
}

// Collections returns saved questions as collections. One whose filter means
// nothing any more, since the program was made anew, is left out.
func Collections(list []inventory.SavedQuestion) []inventory.Collection {
	var out []inventory.Collection
	for i := range list {
		if c, err := collectionOf(&list[i]); err == nil {
			out = append(out, c)
		}
	}
	return out
}
