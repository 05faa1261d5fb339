"""Who may borrow a meter, until when: pure rules over dates."""
