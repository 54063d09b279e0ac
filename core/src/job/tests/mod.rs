mod histories;
