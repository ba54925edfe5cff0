package api

import (
	"context"
	"slices"

	"github.com/underbough/underbough/inventory"
)

// served lists the collections of this client: ours and the saved questions.
func (s *Server) served(ctx context.Context) ([]inventory.Collection, error) {
	questions, err := s.questions(ctx)
	return append(slices.Clone(inventory.Collections), questions...), err
}
