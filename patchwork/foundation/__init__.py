"""Foundation sections: pieces sewn on paper, one after another, along straight lines."""
