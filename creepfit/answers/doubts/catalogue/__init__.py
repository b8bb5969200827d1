"""Every caution that creepfit can raise: its code, its rank and its words, in one module a theme."""
