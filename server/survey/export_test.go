package survey

// SetBudget bounds what the service keeps.
func (s *Service) SetBudget(bytes int64) { s.keep.budget = bytes }

// Kept returns how many ponds the service keeps and what it thinks they hold.
func (s *Service) Kept() (ponds int, bytes int64) {
	s.keep.mu.Lock()
	defer s.keep.mu.Unlock()
	return len(s.keep.known), s.keep.bytes
}
