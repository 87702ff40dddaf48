"""Panel against sweep: the verdict, and its pages."""
