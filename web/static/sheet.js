// Everything works without this script; it only spares trouble.

// A form is sent once, however often its button is pressed.
for (const form of document.querySelectorAll('form[method="post"]')) {
  form.addEventListener('submit', (event) => {
    if (form.dataset.sent) {
      event.preventDefault();
      return;
    }
    form.dataset.sent = 'yes';
    for (const button of form.querySelectorAll('button')) {
      button.setAttribute('aria-disabled', 'true');
    }
  });
}

// Coming back by the browser's back button, a form can be sent again.
addEventListener('pageshow', () => {
  for (const form of document.querySelectorAll('form[data-sent]')) {
    delete form.dataset.sent;
    for (const button of form.querySelectorAll('button')) {
      button.removeAttribute('aria-disabled');
    }
  }
});

// After an error the list of what is wrong is where the reader starts.
document.getElementById('problems')?.focus();

// On paper nothing can be opened by a tap.
addEventListener('beforeprint', () => {
  for (const details of document.querySelectorAll('main details:not([open])')) {
    details.open = true;
    details.dataset.opened = 'print';
  }
});
addEventListener('afterprint', () => {
  for (const details of document.querySelectorAll('details[data-opened]')) {
    details.open = false;
    delete details.dataset.opened;
  }
});

// The menu closes with Escape and when something else is pressed.
const menu = document.querySelector('.more details');
if (menu) {
  addEventListener('keydown', (event) => {
    if (event.key === 'Escape' && menu.open) {
      menu.open = false;
      menu.querySelector('summary').focus();
    }
  });
  addEventListener('click', (event) => {
    if (menu.open && !menu.contains(event.target)) {
      menu.open = false;
    }
  });
}
