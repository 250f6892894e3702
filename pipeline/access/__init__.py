"""Who may reach the dashboard and from where, and what is kept about people. Above the store, below the fleet."""
