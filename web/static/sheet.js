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

// After an error the list of what is wrong is where the reader starts; before
// a change that moves dates, what it would move.
(document.getElementById('problems') ?? document.getElementById('preview'))?.focus();

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

// In a form with a field for each of many things, Enter goes on to the next
// one; behind the last it comes to the button.
for (const form of document.querySelectorAll('form[data-enter="next"]')) {
  form.addEventListener('keydown', (event) => {
    if (event.key !== 'Enter' || event.target.tagName !== 'INPUT') {
      return;
    }
    const stops = [...form.querySelectorAll('input:not([type="hidden"]):not([type="checkbox"]), button')];
    event.preventDefault();
    stops[stops.indexOf(event.target) + 1]?.focus();
  });
}
